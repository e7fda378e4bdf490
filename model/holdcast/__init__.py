"""Holding capacity of small-craft anchors from logged pulls, with bands.

A campaign is read, fitted, and asked; docs/python.md goes through it.

>>> import holdcast
>>> holdcast.__version__
'0.1.0'
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from holdcast.answers.boat.boat import boat
    from holdcast.answers.cells.cells import cells
    from holdcast.answers.cells.wide import to_frame
    from holdcast.answers.classtest.classtest import class_test
    from holdcast.answers.explain.explain import explain
    from holdcast.answers.features.features import feature_effects
    from holdcast.answers.plan.plan import plan
    from holdcast.answers.predict.predict import predict
    from holdcast.answers.rank.rank import ranking
    from holdcast.answers.sizes.sizes import mass_for_load, sizes
    from holdcast.campaign import read_campaign
    from holdcast.capacity import fit, load, save

    __version__: str

__all__ = [
    "__version__",
    "boat",
    "cells",
    "class_test",
    "explain",
    "feature_effects",
    "fit",
    "load",
    "mass_for_load",
    "plan",
    "predict",
    "ranking",
    "read_campaign",
    "save",
    "sizes",
    "to_frame",
]

_PLACES = {
    "read_campaign": "campaign",
    "fit": "capacity",
    "load": "capacity",
    "save": "capacity",
    "boat": "answers.boat.boat",
    "cells": "answers.cells.cells",
    "class_test": "answers.classtest.classtest",
    "explain": "answers.explain.explain",
    "feature_effects": "answers.features.features",
    "mass_for_load": "answers.sizes.sizes",
    "plan": "answers.plan.plan",
    "predict": "answers.predict.predict",
    "ranking": "answers.rank.rank",
    "sizes": "answers.sizes.sizes",
    "to_frame": "answers.cells.wide",
}


def __getattr__(name: str) -> object:
    # Loaded on first use, so that the command line answers quickly.
    if name == "__version__":
        from importlib.metadata import version

        return version("holdcast")
    if name in _PLACES:
        return getattr(import_module(f"holdcast.{_PLACES[name]}"), name)
    raise AttributeError(f"module 'holdcast' has no attribute {name!r}")


def __dir__() -> list[str]:
    return __all__

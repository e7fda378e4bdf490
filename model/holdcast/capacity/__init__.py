"""The Bayesian model: from a campaign to a posterior of the capacity of every anchor in every seabed."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from holdcast.capacity.fitting import DEFAULT_SEED, Fit, fit
    from holdcast.capacity.store import ResultsError, load, save

__all__ = ["DEFAULT_SEED", "Fit", "ResultsError", "fit", "load", "save"]


def __getattr__(name: str) -> object:
    # Loaded on first use: the sampler's libraries take seconds, and checking a campaign needs none of them.
    if name in ("load", "save", "ResultsError"):
        from holdcast.capacity import store

        return vars(store)[name]
    if name in __all__:
        from importlib import import_module

        return vars(import_module("holdcast.capacity.fitting"))[name]
    raise AttributeError(f"module 'holdcast.capacity' has no attribute {name!r}")

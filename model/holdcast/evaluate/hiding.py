"""What to hide from a refit: some cells, one size, one design or one seabed at a time."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.physics.tackle.class_comparison import NEXT_SIZE

__all__ = ["KINDS", "Hiding", "NothingToHideError", "hidings"]

CELL_PARTS = 10
"""Cells are hidden a tenth at a time, so that a refit knows about as much as the full fit (a choice)."""


class NothingToHideError(ValueError):
    """A campaign too small for this kind of hiding; the message says what it would need."""


@dataclass(frozen=True)
class Hiding:
    """One refit's hidden pulls.

    Attributes
    ----------
    kind : what is hidden, one of `KINDS`.
    label : which; the same campaign and seed give the same labels.
    hidden : array of bool, shape (trial,), True where a pull is hidden.
    """

    kind: str
    label: str
    hidden: NDArray[np.bool_]


def hidings(inputs: xr.Dataset, kind: str, *, most: int, seed: int) -> list[Hiding]:
    """Return what to hide, at most `most` refits' worth, drawn at random where there is more.

    Parameters
    ----------
    inputs : Dataset
        As made by :func:`holdcast.capacity.inputs.layout.lay_out`.
    kind : {"cells", "sizes", "designs", "seabeds"}
        ``cells``: a tenth of the tested cells at a time, each cell at most once; ``sizes``: one size of a
        design pulled in several; ``designs``, ``seabeds``: all pulls of one.
    most : int
        Most refits, 1 or more.
    seed : int
        Of the choice.

    Raises
    ------
    ValueError
        When `kind` is unknown or `most` is below 1.
    NothingToHideError
        When nothing would be left to learn from.
    """
    if kind not in _MAKERS:
        raise ValueError(f"cannot hide {kind!r}; what can be hidden: {', '.join(_MAKERS)}")
    if most < 1:
        raise ValueError(f"the number of refits is {most}; it must be 1 or more")
    generator = np.random.default_rng(seed)
    made = _MAKERS[kind](inputs, generator)
    whole = [each for each in made if each.hidden.any() and not each.hidden.all()]
    if not whole:
        raise NothingToHideError(_NEEDS[kind])
    chosen = sorted(generator.permutation(len(whole))[:most])
    return [whole[place] for place in chosen]


def _cells(inputs: xr.Dataset, generator: np.random.Generator) -> list[Hiding]:
    cell = inputs["anchor_of"].to_numpy() * inputs.sizes["seabed"] + inputs["seabed_of"].to_numpy()
    tested = generator.permutation(np.unique(cell))
    parts = np.array_split(tested, min(CELL_PARTS, len(tested)))
    return [
        Hiding("cells", f"part {number} of {len(parts)}", np.isin(cell, part))
        for number, part in enumerate(parts, start=1)
    ]


def _sizes(inputs: xr.Dataset, generator: np.random.Generator) -> list[Hiding]:
    mass = np.exp(inputs["log_mass_ratio"].to_numpy())
    anchor_of, made = inputs["anchor_of"].to_numpy(), []
    for place, design in enumerate(inputs["design"].to_numpy()):
        anchors = np.flatnonzero(inputs["design_of"].to_numpy() == place)
        groups: list[list[int]] = []
        for anchor in anchors[np.argsort(mass[anchors], kind="stable")]:
            if groups and mass[anchor] < NEXT_SIZE * mass[groups[-1][0]]:
                groups[-1].append(int(anchor))
            else:
                groups.append([int(anchor)])
        pulled = [group for group in groups if np.isin(anchor_of, group).any()]
        if len(pulled) > 1:
            for group in pulled:
                names = ", ".join(str(inputs["anchor"].to_numpy()[anchor]) for anchor in group)
                made.append(Hiding("sizes", f"{design}: {names}", np.isin(anchor_of, group)))
    return made


def _designs(inputs: xr.Dataset, generator: np.random.Generator) -> list[Hiding]:
    design_of = inputs["design_of"].to_numpy()[inputs["anchor_of"].to_numpy()]
    return [
        Hiding("designs", str(design), design_of == place)
        for place, design in enumerate(inputs["design"].to_numpy())
    ]


def _seabeds(inputs: xr.Dataset, generator: np.random.Generator) -> list[Hiding]:
    return [
        Hiding("seabeds", str(seabed), inputs["seabed_of"].to_numpy() == place)
        for place, seabed in enumerate(inputs["seabed"].to_numpy())
    ]


_MAKERS: Mapping[str, Callable[[xr.Dataset, np.random.Generator], list[Hiding]]] = {
    "cells": _cells,
    "sizes": _sizes,
    "designs": _designs,
    "seabeds": _seabeds,
}
_NEEDS: Mapping[str, str] = {
    "cells": "hiding cells needs pulls in two cells (anchors in seabeds) or more",
    "sizes": "hiding sizes needs a design that was pulled in two sizes or more, 20% or more apart in mass",
    "designs": "hiding designs needs pulls of two designs or more",
    "seabeds": "hiding seabeds needs pulls in two seabeds or more",
}
KINDS = tuple(_MAKERS)
"""What can be hidden."""

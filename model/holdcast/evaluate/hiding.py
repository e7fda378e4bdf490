"""What to hide from a refit: some cells, one size, one design or one seabed at a time."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.sampler.refitting import hide_pulls, hide_resets_and_veers
from holdcast.physics.tackle.class_comparison import NEXT_SIZE

__all__ = ["Hiding", "NothingToHideError", "hidden_labels", "hide", "hidings", "nothing_hidden"]

CELL_PARTS = 10
"""Cells are hidden a tenth at a time, so that a refit knows about as much as the full fit (a choice)."""


class NothingToHideError(ValueError):
    """A campaign too small for this kind of hiding; the message says what it would need."""


@dataclass(frozen=True)
class Hiding:
    """One refit's hidden tests.

    Attributes
    ----------
    kind : what is hidden: cells, designs, sizes or seabeds.
    label : which; the same campaign and seed give the same labels.
    hidden, resets, veers : arrays of bool, shapes (trial,), (reset,) and (veer,), True where a pull, a reset
        or a veer is hidden.
    """

    kind: str
    label: str
    hidden: NDArray[np.bool_]
    resets: NDArray[np.bool_]
    veers: NDArray[np.bool_]

    @property
    def counts(self) -> str:
        """How many tests of each kind are hidden, in words."""
        masks = {"pull": self.hidden, "reset": self.resets, "veer": self.veers}
        numbers = {name: int(mask.sum()) for name, mask in masks.items()}
        words = [f"{number} {name}{'s' * (number != 1)}" for name, number in numbers.items() if number]
        return ", ".join(words) or "no test"


def hidings(inputs: xr.Dataset, kind: str, *, most: int, seed: int) -> list[Hiding]:
    """Return what to hide, at most `most` refits' worth, drawn at random where there is more.

    Parameters
    ----------
    inputs : Dataset
        As made by :func:`holdcast.capacity.inputs.layout.lay_out`.
    kind : {"cells", "sizes", "designs", "seabeds"}
        ``cells``: a tenth of the tested cells at a time, each cell at most once; ``sizes``: one size of a
        design pulled in several; ``designs``, ``seabeds``: all tests of one.  Resets and veers of what is
        hidden are hidden with its pulls.
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
    every = _MAKERS[kind](inputs, generator)
    useful = [each for each in every if each.counts != "no test" and not each.hidden.all()]
    if not useful:
        raise NothingToHideError(_NEEDS[kind])
    places = sorted(generator.permutation(len(useful))[:most])
    return [useful[place] for place in places]


def nothing_hidden(inputs: xr.Dataset, kind: str) -> Hiding:
    """Return what a fit of the whole log hides: nothing."""
    return _of_cells(inputs, kind, "", np.zeros((inputs.sizes["anchor"], inputs.sizes["seabed"]), dtype=bool))


def hide(inputs: xr.Dataset, hiding: Hiding) -> xr.Dataset:
    """Return the inputs with what is hidden telling nothing, every shape and label kept."""
    return hide_pulls(hide_resets_and_veers(inputs, hiding.resets, hiding.veers), hiding.hidden)


def hidden_labels(inputs: xr.Dataset, hiding: Hiding) -> list[str]:
    """Return the labels of all tests that are hidden: pulls, resets, veers."""
    masks = {"trial": hiding.hidden, "reset": hiding.resets, "veer": hiding.veers}
    return [str(label) for dim, mask in masks.items() for label in inputs[dim].to_numpy()[mask]]


def _of_cells(inputs: xr.Dataset, kind: str, label: str, cells: NDArray[np.bool_]) -> Hiding:
    """Return a hiding of all tests in some cells, an array of bool of shape (anchor, seabed)."""
    names = (("anchor_of", "seabed_of"), ("reset_anchor", "reset_seabed"), ("veer_anchor", "veer_seabed"))
    masks = [cells[inputs[anchor].to_numpy(), inputs[seabed].to_numpy()] for anchor, seabed in names]
    return Hiding(kind, label, *masks)


def _cells(inputs: xr.Dataset, generator: np.random.Generator) -> list[Hiding]:
    tested = np.zeros((inputs.sizes["anchor"], inputs.sizes["seabed"]), dtype=bool)
    for anchor, seabed in (("anchor_of", "seabed_of"), ("reset_anchor", "reset_seabed"),
                           ("veer_anchor", "veer_seabed")):  # fmt: skip
        tested[inputs[anchor].to_numpy(), inputs[seabed].to_numpy()] = True
    places = generator.permutation(np.flatnonzero(tested))
    parts = np.array_split(places, min(CELL_PARTS, len(places)))
    every = np.arange(tested.size).reshape(tested.shape)
    return [
        _of_cells(inputs, "cells", f"part {number} of {len(parts)}", np.isin(every, part))
        for number, part in enumerate(parts, start=1)
    ]


def _sizes(inputs: xr.Dataset, generator: np.random.Generator) -> list[Hiding]:
    mass = np.exp(inputs["log_mass_ratio"].to_numpy())
    anchor_of, by_size = inputs["anchor_of"].to_numpy(), []
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
                own = np.isin(np.arange(inputs.sizes["anchor"]), group)
                by_size.append(_of_cells(inputs, "sizes", f"{design}: {names}", _all_seabeds(inputs, own)))
    return by_size


def _designs(inputs: xr.Dataset, generator: np.random.Generator) -> list[Hiding]:
    design_of = inputs["design_of"].to_numpy()
    return [
        _of_cells(inputs, "designs", str(design), _all_seabeds(inputs, design_of == place))
        for place, design in enumerate(inputs["design"].to_numpy())
    ]


def _seabeds(inputs: xr.Dataset, generator: np.random.Generator) -> list[Hiding]:
    places = np.zeros((inputs.sizes["anchor"], 1), dtype=int) + np.arange(inputs.sizes["seabed"])
    return [
        _of_cells(inputs, "seabeds", str(seabed), places == place)
        for place, seabed in enumerate(inputs["seabed"].to_numpy())
    ]


def _all_seabeds(inputs: xr.Dataset, anchors: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the cells of some anchors, shape (anchor, seabed)."""
    return np.repeat(anchors[:, None], inputs.sizes["seabed"], axis=1)


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
"""What to say where a kind of hiding finds nothing to hide."""

"""Doubts about cells in which no pull ever let go: nothing that was seen bounds their capacity from above."""

import numpy as np

from holdcast.campaign.records import Finding
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import ABOVE

__all__ = ["open_ended_doubts"]

_LISTED_CELLS = 6


def open_ended_doubts(fit: Fit) -> list[Finding]:
    """Return one doubt that names the pulled cells in which every pull was open above; none without any."""
    inputs = fit.inputs
    shape = (inputs.sizes["anchor"], inputs.sizes["seabed"])
    places = inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy()
    pulls, held = np.zeros(shape, dtype=int), np.zeros(shape, dtype=int)
    np.add.at(pulls, places, 1)
    np.add.at(held, places, (inputs["kind"] == ABOVE).to_numpy().astype(int))
    cells = np.argwhere((pulls > 0) & (held == pulls))
    if not len(cells):
        return []
    anchors, seabeds = inputs["anchor"].to_numpy(), inputs["seabed"].to_numpy()
    named = ", ".join(f"{anchors[a]} in {seabeds[s]}" for a, s in cells[:_LISTED_CELLS])
    more = f" and {len(cells) - _LISTED_CELLS} more" if len(cells) > _LISTED_CELLS else ""
    number = "1 cell" if len(cells) == 1 else f"{len(cells)} cells"
    return [
        Finding(
            "doubt",
            "cells.csv",
            None,
            "capacity_n",
            f"{number} in which no pull let go: {named}{more}",
            "a pull that let go, to bound the capacity from above",
            "the upper end of such a band rests on other cells and on the priors: say so beside it",
        )
    ]

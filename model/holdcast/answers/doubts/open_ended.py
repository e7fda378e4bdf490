"""Doubts about cells in which no pull ever let go: nothing that was seen bounds their capacity from above."""

import numpy as np

from holdcast.answers.doubts.result_doubt import ResultDoubt, listed
from holdcast.answers.draws.counts import AT_LEAST, counts
from holdcast.answers.draws.draws import Draws
from holdcast.capacity.fitting import Fit

__all__ = ["open_ended_doubts"]


def open_ended_doubts(fit: Fit) -> list[ResultDoubt]:
    """Return one doubt that names the pulled cells in which every pull was open above; none without any."""
    bounded = counts(Draws(fit, 0))["bounded"]
    anchors, seabeds = bounded["anchor"].to_numpy(), bounded["seabed"].to_numpy()
    names = [f"{anchors[a]} in {seabeds[s]}" for a, s in np.argwhere((bounded == AT_LEAST).to_numpy())]
    if not names:
        return []
    number = "1 cell" if len(names) == 1 else f"{len(names)} cells"
    return [
        ResultDoubt(
            f"{number} in which no pull let go: {listed(names)}",
            "no pull says how much more it would hold: median and upper end come from other cells",
            "read such a capacity as at least this much, and pull once more until the anchor lets go",
        )
    ]

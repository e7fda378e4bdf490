"""The grid on which what a spot does is summed over, where one pull is all there is of it.

An even grid over a normal: such sums converge geometrically for smooth functions (Trefethen & Weideman 2014,
*SIAM Rev.* 56:385, value from memory).
"""

import numpy as np
from numpy.typing import NDArray

__all__ = ["GRIDS", "PLACES", "REACH", "SMOOTH", "WEIGHTS", "spot_grid", "steps_of_spots"]

REACH = 6
"""Of the grid in standard deviations of the spots: 2e-9 of a normal lie beyond."""
SMOOTH = 0.5
"""Step of the grid at most, in scales of the scatter, as long as there is a finer grid: Student's t of 4
degrees of freedom is smooth within twice the scale of the real axis, and is so summed to 1e-5 (computed)."""
GRIDS = 5
"""Steps of 1, 1/2, 1/4, … standard deviations of the spots.  One of 1 sums a normal to 5e-9 (computed,
2 exp(-2π²)); the finest serves spots of 8 scales, which no log knows."""

Numbers = NDArray[np.float64]


def steps_of_spots(ratio: float) -> int:
    """Return how many steps a standard deviation of the spots has, given the spots' spread in scales."""
    steps = 1
    for _ in range(GRIDS - 1):
        if steps * SMOOTH < ratio:
            steps *= 2
    return steps


def _grids() -> tuple[Numbers, Numbers]:
    """Return points of all grids, the middles of even steps from -`REACH` to `REACH`, and their weights."""
    places, weights = [], []
    for steps in 2 ** np.arange(GRIDS):
        place = (np.arange(2 * REACH * steps) + 0.5) / steps - REACH
        weight = np.exp(-0.5 * place**2)
        places.append(place)
        weights.append(weight / weight.sum())
    return np.concatenate(places), np.concatenate(weights)


PLACES, WEIGHTS = _grids()
"""Of all grids, one after the other, from the coarsest."""


def spot_grid(steps: int) -> tuple[Numbers, Numbers]:
    """Return the points of a grid in standard deviations and their weights, which add up to 1.

    Parameters
    ----------
    steps : int
        As :func:`steps_of_spots` gives it.
    """
    those = slice(2 * REACH * (steps - 1), 2 * REACH * (2 * steps - 1))
    return PLACES[those], WEIGHTS[those]

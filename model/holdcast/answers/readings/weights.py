"""What each draw of a fit counts once new tests are known, and for which cells that can be relied on.

Posterior draws become draws given the new tests too by weights in proportion to the tests' likelihood, the
tail of the weights smoothed by a Pareto distribution (PSIS: Vehtari, Simpson, Gelman, Yao & Gabry 2024,
*J. Mach. Learn. Res.* 25:72, value from memory).  Its shape k tells whether a few draws carry all: above 0.7,
or with fewer than 400 effective draws, the weights are not to be trusted, and a refit is due.

Then each cell is asked for itself.  What the tests say of *one* cell is the mean of their likelihood over
draws of the same capacity, and most of what makes weights uneven has nothing to do with that cell.  The log
of the likelihood is regressed on the cell's log capacity and log odds of setting (a full quadratic, exact
where all is normal: what is left is then independent of both and drops out), and the cell's own weights
follow from the regression.  Where these are even enough the update of the cell still holds.
"""

from dataclasses import dataclass

import numpy as np
from arviz_stats.base import array_stats
from numpy.typing import NDArray

from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.explain.influence import TRUSTED_K

__all__ = ["LEAST_DRAWS", "Weights", "effective_draws", "weigh"]

LEAST_DRAWS = 400.0
"""Effective draws below which band ends are not to be trusted: 20 in either tail (a choice)."""


@dataclass(frozen=True)
class Weights:
    """What each draw counts, given new tests.

    Attributes
    ----------
    weight : array, shape (sample, anchor, seabed) [1], summing to 1 over the draws of each cell: one and the
        same for all cells when `trusted`, else each cell's own.
    pareto_k, effective : of the weights of all tests together [1].
    trusted : whether those may be relied on.
    holds : array of bool, shape (anchor, seabed): cells whose update holds.
    """

    weight: Floats
    pareto_k: float
    effective: float
    trusted: bool
    holds: NDArray[np.bool_]


def weigh(draws: Draws, log_likelihood: Floats) -> Weights:
    """Return what each draw counts once new tests are known.

    Parameters
    ----------
    draws : Draws
    log_likelihood : array, shape (sample,)
        Of the new tests, up to a constant.
    """
    cells = draws["log_capacity"].shape[1:]
    weight, shape = _smoothed(log_likelihood)
    number = effective_draws(weight)
    if shape <= TRUSTED_K and number >= LEAST_DRAWS:
        same = np.broadcast_to(weight[:, None, None], (draws.samples, *cells))
        return Weights(same, shape, number, True, np.ones(cells, dtype=bool))
    own, holds = np.empty((draws.samples, *cells)), np.zeros(cells, dtype=bool)
    for anchor, seabed in np.ndindex(cells[0], cells[1]):
        smoothed, k = _smoothed(_of_cell(draws, (anchor, seabed), log_likelihood))
        own[:, anchor, seabed] = smoothed
        holds[anchor, seabed] = k <= TRUSTED_K and effective_draws(smoothed) >= LEAST_DRAWS
    return Weights(own, shape, number, False, holds)


def effective_draws(weight: Floats) -> float:
    """Return how many even draws say as much as weighted ones (Kish 1965, value from memory)."""
    return float(1.0 / np.sum(weight**2))


def _smoothed(log_weight: Floats) -> tuple[Floats, float]:
    """Return smoothed weights, and their Pareto shape; even weights have none."""
    if np.ptp(log_weight) < 1e-9:
        return np.full(len(log_weight), 1.0 / len(log_weight)), 0.0
    # The library takes the log likelihood that is to be removed, and turns its sign itself.
    smoothed, shape = array_stats.psislw(-(log_weight - log_weight.max()))
    weight = np.exp(smoothed - smoothed.max())
    return weight / weight.sum(), float(shape)


def _of_cell(draws: Draws, cell: tuple[int, int], log_likelihood: Floats) -> Floats:
    """Return the likelihood's log as far as it goes with a cell's own capacity and chance of setting."""
    columns = [draws[name][:, cell[0], cell[1]] for name in ("log_capacity", "sets_log_odds")]
    standard = [(column - column.mean()) / column.std() for column in columns if column.std() > 1e-9]
    products = [one * other for at, one in enumerate(standard) for other in standard[at:]]
    design = np.stack([np.ones(len(log_likelihood)), *standard, *products], axis=1)
    return np.asarray(design @ np.linalg.lstsq(design, log_likelihood)[0])

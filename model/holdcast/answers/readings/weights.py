"""What each draw of a fit counts once new tests are known, and whether that can be relied on.

Posterior draws become draws given the new tests too by weights in proportion to the tests' likelihood, the
tail of the weights smoothed by a Pareto distribution (PSIS: Vehtari, Simpson, Gelman, Yao & Gabry 2024,
*J. Mach. Learn. Res.* 25:72, value from memory).  Its shape k tells whether a few draws carry all; above 0.7,
or with fewer than 400 effective draws, the weights are not to be trusted, and a refit is due.
"""

from dataclasses import dataclass

import numpy as np
from arviz_stats.base import array_stats

from holdcast.answers.draws.draws import Floats
from holdcast.answers.explain.influence import TRUSTED_K

__all__ = ["LEAST_DRAWS", "Weights", "effective_draws", "weigh"]

LEAST_DRAWS = 400.0
"""Effective draws below which band ends are not to be trusted: 20 in either tail (a choice)."""


@dataclass(frozen=True)
class Weights:
    """What each draw counts, given new tests.

    Attributes
    ----------
    weight : array, shape (sample,) [1], summing to 1.
    pareto_k, effective : its Pareto shape; how many even draws say as much [1].
    """

    weight: Floats
    pareto_k: float
    effective: float

    @property
    def trusted(self) -> bool:
        """Whether they may be relied on."""
        return self.pareto_k <= TRUSTED_K and self.effective >= LEAST_DRAWS


def weigh(log_likelihood: Floats) -> Weights:
    """Return what each draw counts once new tests are known.

    Parameters
    ----------
    log_likelihood : array, shape (sample,)
        Of the new tests, up to a constant.
    """
    if np.ptp(log_likelihood) < 1e-9:  # nothing to smooth
        return Weights(
            np.full(len(log_likelihood), 1.0 / len(log_likelihood)), 0.0, float(len(log_likelihood))
        )
    # The library takes the log likelihood that is to be removed, and turns its sign itself.
    try:
        smoothed, shape = array_stats.psislw(log_likelihood.max() - log_likelihood)
    except ValueError:  # the largest weights are all alike: there is no tail to smooth
        smoothed, shape = log_likelihood, 0.0
    weight = np.exp(smoothed - smoothed.max())
    weight = weight / weight.sum()
    return Weights(weight, float(shape), effective_draws(weight))


def effective_draws(weight: Floats) -> float:
    """Return how many even draws say as much as weighted ones (Kish 1965, value from memory)."""
    return float(1.0 / np.sum(weight**2))

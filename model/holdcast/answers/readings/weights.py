"""What each draw of a fit counts once new tests are known, and whether that can be relied on.

Posterior draws become draws given the new tests too by weights in proportion to the tests' likelihood, the
tail of the weights smoothed by a Pareto distribution (PSIS: Vehtari, Simpson, Gelman, Yao & Gabry 2024,
*J. Mach. Learn. Res.* 25:72, value from memory).  Its shape k tells whether a few draws carry all; above 0.7,
or with fewer than 400 effective draws, the weights are not to be trusted, and a refit is due.  Where k is
good and at least 72 draws are left, they still carry a rough update: its error is that of so few draws.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from arviz_stats.base import array_stats

from holdcast.answers.draws.bands import BANDS
from holdcast.answers.draws.draws import Floats
from holdcast.answers.explain.influence import TRUSTED_K

__all__ = [
    "LEAST_DRAWS",
    "LEAST_ROUGH_DRAWS",
    "QUANTILE_ERROR",
    "Weights",
    "effective_draws",
    "weigh",
    "weighted_bands",
    "weighted_quantiles",
]

LEAST_DRAWS = 400.0
"""Effective draws below which band ends are not to be trusted: 20 in either tail (a choice)."""
LEAST_ROUGH_DRAWS = 72.0
"""Effective draws below which a band end of a normal has a standard error above a quarter of the standard
deviation: (4 × 2.113)² (computed); fewer say too little even for a rough update (a choice)."""
QUANTILE_ERROR = np.array([2.113, 1.253, 2.113])
"""Standard error of a normal's 5%, 50% and 95% quantile, in standard deviations over the root of the number
of draws: √(p (1 - p)) over the density there (computed)."""


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

    @property
    def rough(self) -> bool:
        """Whether they carry at least a rough update, until the refit that is due."""
        return self.pareto_k <= TRUSTED_K and self.effective >= LEAST_ROUGH_DRAWS


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


def weighted_bands(values: Floats, weight: Floats) -> Floats:
    """Return weighted quantiles BANDS of draws (sample, anchor, seabed), as (anchor, seabed, quantile)."""
    return weighted_quantiles(values, weight, BANDS)


def weighted_quantiles(values: Floats, weight: Floats, levels: Sequence[float]) -> Floats:
    """Return quantiles of weighted draws, (sample, ...), as (..., level).

    Quantiles lie on lines between the draws, each draw standing in the middle of its weight.
    """
    order = np.argsort(values, axis=0)
    ordered = np.take_along_axis(values, order, axis=0)
    share = weight[order]
    middle = np.cumsum(share, axis=0) - 0.5 * share
    quantiles = np.empty((*values.shape[1:], len(levels)))
    for place in np.ndindex(values.shape[1:]):
        quantiles[place] = np.interp(levels, middle[:, *place], ordered[:, *place])
    return quantiles

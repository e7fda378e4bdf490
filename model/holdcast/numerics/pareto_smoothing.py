"""Importance weights whose largest ones are smoothed by a Pareto distribution, and its shape k.

Vehtari, Simpson, Gelman, Yao & Gabry (2024, *J. Mach. Learn. Res.* 25:72, value from memory), the shape found
as Zhang & Stephens (2009, *Technometrics* 51:316, value from memory) do, drawn towards one half by ten draws'
worth.  As ArviZ has it (a test compares them), which takes a second to load.
"""

import numpy as np
from numpy.typing import NDArray

__all__ = ["SameWeightsError", "pareto_smoothed", "tail_draws"]

Floats = NDArray[np.float64]

_PRIOR_SHAPE, _PRIOR_DRAWS = 0.5, 10
_SPREAD_OF_TRIALS, _LEAST_TRIALS = 3.0, 30
"""Of the values of b / x that are tried: see Zhang & Stephens."""
_LEAST_TAIL = 5
_FEW_DRAWS = 225
"""Up to so many effective draws the tail is a fifth of them."""


class SameWeightsError(ValueError):
    """All weights of the tail are alike, so that there is no tail to smooth."""


def tail_draws(draws: int, efficiency: float = 1.0) -> int:
    """Return how many of the largest weights are smoothed; efficiency is effective draws over draws."""
    if draws * efficiency > _FEW_DRAWS:
        return int(3.0 * np.sqrt(draws / efficiency))
    return draws // 5


def pareto_smoothed(log_ratio: Floats, tail: int | None = None) -> tuple[Floats, Floats]:
    """Return smoothed log weights and the Pareto shape of their tail.

    Parameters
    ----------
    log_ratio : array, shape (…, sample)
        Log of wanted over present density, up to a constant.
    tail : int, optional
        How many of the largest are smoothed; :func:`tail_draws` of as many independent draws by default.

    Returns
    -------
    tuple of arrays
        Log weights, shape (…, sample), whose weights add up to 1; k, shape (…).  NaN for k where the tail is
        no Pareto distribution at all; then nothing is smoothed.

    Raises
    ------
    SameWeightsError
        When all weights in a tail are alike.
    ValueError
        When there are too few draws for a tail of five.
    """
    samples = log_ratio.shape[-1]
    largest = tail_draws(samples) if tail is None else tail
    if largest < _LEAST_TAIL:
        raise ValueError(f"{samples} draws are too few to smooth their weights")
    rows = np.array(log_ratio, dtype=float).reshape(-1, samples)
    shapes = np.array([_smooth(row, largest) for row in rows])
    return rows.reshape(log_ratio.shape), shapes.reshape(log_ratio.shape[:-1])


def _smooth(log_weight: Floats, tail: int) -> float:
    """Smooth one row in its place, and return the shape."""
    log_weight -= log_weight.max()
    cut = len(log_weight) - tail - 1
    # Only the tail is put in order; before it stands the largest weight that is not of the tail.
    order = np.argpartition(log_weight, cut)
    own = order[cut + 1 :]
    own = own[np.argsort(log_weight[own], kind="stable")]
    if abs(log_weight[own[-1]] - log_weight[own[0]]) < np.finfo(float).tiny:
        raise SameWeightsError("all weights of the tail are the same")
    cutoff = np.exp(log_weight[order[cut]])
    shape, scale = _pareto_fit(np.exp(log_weight[own]) - cutoff)
    if np.isfinite(shape):
        places = np.log1p(-(np.arange(tail) + 0.5) / tail)
        above = -scale * places if shape == 0.0 else scale * np.expm1(-shape * places) / shape
        log_weight[own] = np.minimum(np.log(cutoff + above), 0.0)
    log_weight -= np.log(np.exp(log_weight).sum())
    return shape


def _pareto_fit(above: Floats) -> tuple[float, float]:
    """Return shape and scale of a generalised Pareto distribution of sorted numbers above its lower end."""
    number = len(above)
    quartile = above[int(number / 4.0 + 0.5) - 1]
    if quartile <= above[0]:
        return np.nan, np.nan
    trials = _LEAST_TRIALS + int(np.sqrt(number))
    tried = 1.0 - np.sqrt(trials / (np.arange(1.0, trials + 1.0) - 0.5))
    tried = tried / (_SPREAD_OF_TRIALS * quartile) + 1.0 / above[-1]
    shapes = np.log1p(-tried[:, None] * above).mean(axis=1)
    log_share = number * (np.log(-tried / shapes) - shapes - 1.0)
    share = np.exp(log_share - log_share.max())
    share = np.where(share >= 10.0 * np.finfo(float).eps * share.sum(), share, 0.0)
    slope = (tried * share).sum() / share.sum()
    shape = np.log1p(-slope * above).mean()
    if np.isnan(shape):
        return np.inf, np.nan
    drawn = (number * shape + _PRIOR_DRAWS * _PRIOR_SHAPE) / (number + _PRIOR_DRAWS)
    return float(drawn), float(-shape / slope)

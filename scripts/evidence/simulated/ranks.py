"""Ranks of true values among draws, and whether they are as even as calibrated draws make them.

Where truth and data come from the model itself, the rank of a true value among independent draws of its
posterior is uniform: Talts, Betancourt, Simpson, Vehtari & Gelman 2018, arXiv:1804.06788.  Simultaneous
bands of the empirical distribution: Säilynoja, Bürkner & Vehtari 2022, *Statistics and Computing* 32:32.
Both values from memory.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import stats

__all__ = ["ecdf_band", "evenness", "evenness_p_value", "rank_among"]

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
_SIMULATIONS = 5000
_SEED = 1


def rank_among(truth: float, draws: Array, thinned: int) -> int:
    """Return how many of `thinned` evenly spaced draws lie below the truth: 0 to `thinned`.

    Parameters
    ----------
    truth : float
    draws : array, shape (sample,)
        In the order they were drawn.
    thinned : int
        Draws kept; so few that they are about independent.

    Raises
    ------
    ValueError
        When there are fewer draws than that.
    """
    if len(draws) < thinned:
        raise ValueError(f"{len(draws)} draws cannot be thinned to {thinned}")
    thin = draws[np.linspace(0, len(draws) - 1, thinned).astype(int)]
    return int((thin < truth).sum())


def evenness(ranks: Counts, thinned: int) -> Array:
    """Return the smallest two-sided tail probability of the ranks' empirical distribution at any rank.

    Parameters
    ----------
    ranks : array of int, shape (..., campaign)
        Each 0 to `thinned`.
    thinned : int

    Returns
    -------
    array, shape (...)
        min over i of 2 min{P(B ≤ R_i), P(B ≥ R_i)}, where R_i ranks lie below i and B is binomial; small when
        some stretch of ranks holds too many or too few.
    """
    campaigns = ranks.shape[-1]
    edges = np.arange(1, thinned + 1)
    below = (ranks[..., None, :] < edges[:, None]).sum(axis=-1)
    share = edges / (thinned + 1.0)
    upto = stats.binom.cdf(below, campaigns, share)
    above = stats.binom.sf(below - 1, campaigns, share)
    return np.asarray(2.0 * np.minimum(upto, above).min(axis=-1))


@lru_cache
def _even(campaigns: int, thinned: int) -> Array:
    """Return sorted values of :func:`evenness` of simulated even ranks."""
    generator = np.random.default_rng(_SEED)
    parts = [
        evenness(generator.integers(0, thinned + 1, (50, campaigns)), thinned)
        for _ in range(_SIMULATIONS // 50)
    ]
    return np.sort(np.concatenate(parts))


def evenness_p_value(ranks: Counts, thinned: int) -> float:
    """Return the chance that even ranks look as uneven as these, by simulation (5,000 sets)."""
    even = _even(len(ranks), thinned)
    as_uneven = np.searchsorted(even, float(evenness(ranks, thinned)) * (1.0 + 1e-9), side="right")
    return float((as_uneven + 1) / (len(even) + 1))


def ecdf_band(campaigns: int, thinned: int, probability: float = 0.95) -> tuple[Array, Array, Array]:
    """Return a band that holds the whole empirical distribution of even ranks with this probability.

    Returns
    -------
    share, low, high : arrays, shape (thinned,)
        Nominal share of ranks below each edge, and ends of the observed share.
    """
    tail = float(np.quantile(_even(campaigns, thinned), 1.0 - probability)) / 2.0
    share = np.arange(1, thinned + 1) / (thinned + 1.0)
    low, high = (np.asarray(stats.binom.ppf(p, campaigns, share)) / campaigns for p in (tail, 1.0 - tail))
    return share, low, high

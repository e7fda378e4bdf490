"""How far draws of one number move when a part of their density counts a little more or less.

The part is raised to powers near one by importance weights, and the distance between the distributions before
and after is taken: Kallioinen, Paananen, Bürkner & Vehtari (2023, *Stat. Comput.* 34:57, value from memory).
As ArviZ has it (a test compares them), which takes a second to load.
"""

import numpy as np
from numpy.typing import NDArray

from holdcast.numerics.pareto_smoothing import SameWeightsError, pareto_smoothed, tail_draws

__all__ = ["power_sensitivity"]

Floats = NDArray[np.float64]

_POWERS = (0.99, 1.01)
_TAIL = 0.05
"""Draws in the tails by which the number of effective draws is told."""
_LEAST_TAIL = 5


def power_sensitivity(values: Floats, log_density: Floats) -> float:
    """Return the distance that draws move, over the change of the power's binary logarithm [1].

    Parameters
    ----------
    values, log_density : arrays, shape (sample,)
        Draws of a number, chains one after the other, and the log density of the part at each.
    """
    order = np.argsort(values)
    steps = np.diff(values[order])
    tail = tail_draws(len(values), _efficiency(log_density))
    tail = max(min(tail, len(values) // 2), _LEAST_TAIL)
    moved = []
    for power in _POWERS:
        try:
            weight = np.exp(pareto_smoothed((power - 1.0) * log_density, tail)[0])[order]
        except SameWeightsError:  # a part that is the same everywhere moves nothing
            return 0.0
        # From either end: the distance looks at shares below, and is not the same for shares above.
        distance = max(_distance(steps, weight), _distance(steps[::-1], weight[::-1]))
        moved.append(distance / abs(np.log2(power)))
    return float(np.mean(moved))


def _distance(steps: Floats, weight: Floats) -> float:
    """Return the cumulative Jensen-Shannon distance between even draws and weighted ones, both in order."""
    number = len(weight)
    even = np.linspace(1.0 / number, 1.0 - 1.0 / number, number - 1)
    share = np.cumsum(weight / weight.sum())[:-1]
    middle = 0.5 * (even + share)
    all_even, all_share = steps @ even, steps @ share
    drift = 0.5 / np.log(2.0) * (all_share - all_even)
    there = steps @ (even * (_log2(even) - _log2(middle))) + drift
    back = steps @ (share * (_log2(share) - _log2(middle))) - drift
    return float(np.sqrt((max(0.0, there) + max(0.0, back)) / (all_even + all_share)))


def _log2(share: Floats) -> Floats:
    return np.log2(share, out=np.zeros_like(share), where=share > 0.0)


def _efficiency(draws: Floats) -> float:
    """Return effective draws over draws of the worse tail, its two halves taken as chains."""
    half = len(draws) // 2
    ends = np.quantile(draws, [_TAIL, 1.0 - _TAIL])
    below = [(draws <= end).astype(float) for end in ends]
    return min(_effective_share(np.stack([each[:half], each[-half:]])) for each in below)


def _effective_share(chains: Floats) -> float:
    """Return effective draws over draws, chains (chain, draw).

    By Geyer's initial monotone sequence (Vehtari, Gelman, Simpson, Carpenter & Bürkner 2021, *Bayesian Anal.*
    16:667, value from memory).
    """
    number = chains.shape[1]
    if np.ptp(chains) < np.finfo(float).resolution:
        return float(chains.size)
    turned = np.fft.rfft(chains - chains.mean(axis=1, keepdims=True), n=2 * number)
    covariance = np.fft.irfft(turned * np.conjugate(turned), n=2 * number)[:, :number].mean(axis=0) / number
    within = covariance[0] * number / (number - 1.0)
    total = covariance[0] + np.var(chains.mean(axis=1), ddof=1)
    correlation = 1.0 - (within - covariance) / total
    correlation[0] = 1.0
    pairs = correlation[: number // 2 * 2].reshape(-1, 2).sum(axis=1)
    first = int(np.argmin(np.append(pairs, 0.0) > 0.0))
    falling = np.minimum.accumulate(pairs[:first]).sum()
    rest = max(correlation[2 * first], 0.0) if 2 * first < number else 0.0
    time = max(2.0 * falling + rest - 1.0, 1.0 / np.log10(chains.size))
    return float(1.0 / time)

"""Sums in logarithms, and the logarithm of the beta function."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["log_beta", "log_sum_exp"]

Floats = NDArray[np.float64]

_SHIFT = 8
"""Added to a number before Stirling's series is used: its terms below then give all digits."""
_STIRLING = (1 / 12, -1 / 360, 1 / 1260, -1 / 1680, 1 / 1188, -691 / 360360)
"""Of the powers 1 / z, 1 / z³, …: Bernoulli numbers over 2n (2n - 1) (exact)."""


def log_sum_exp(logs: Floats, axis: int) -> Floats:
    """Return the logarithm of the sum over one axis of what has these logarithms."""
    largest = np.max(logs, axis=axis, keepdims=True)
    safe = np.where(np.isfinite(largest), largest, 0.0)
    with np.errstate(divide="ignore"):  # a sum of nothing
        return np.asarray(np.log(np.exp(logs - safe).sum(axis=axis)) + np.squeeze(safe, axis=axis))


def log_beta(a: ArrayLike, b: ArrayLike) -> Floats:
    """Return the logarithm of the beta function of two numbers above 0."""
    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    return _log_gamma(a) + _log_gamma(b) - _log_gamma(a + b)


def _log_gamma(x: Floats) -> Floats:
    """Return the logarithm of the gamma function, by Stirling's series."""
    below = x.copy()
    for step in range(1, _SHIFT):
        below = below * (x + step)
    z = x + _SHIFT
    series = np.zeros(z.shape)
    for term in reversed(_STIRLING):
        series = series / (z * z) + term
    stirling = (z - 0.5) * np.log(z) - z + 0.5 * math.log(2.0 * math.pi) + series / z
    return np.asarray(stirling - np.log(below))

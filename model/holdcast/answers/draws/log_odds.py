"""Chances and their log odds.

The three functions are scipy's of the same names; reading its module of special functions takes a fifth of a
second, and ranks, features and comparisons need no other one of them.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["expit", "log_expit", "logit"]

Floats = NDArray[np.float64]


def expit(log_odds: ArrayLike) -> Floats:
    """Return the chance with these log odds, 1 / (1 + exp(-x))."""
    with np.errstate(over="ignore"):  # below -709: the chance is nothing
        return np.asarray(1.0 / (1.0 + np.exp(-np.asarray(log_odds, dtype=float))))


def log_expit(log_odds: ArrayLike) -> Floats:
    """Return the log of the chance with these log odds, without loss of digits where it is near 1 or 0."""
    x = np.asarray(log_odds, dtype=float)
    return np.asarray(np.minimum(x, 0.0) - np.log1p(np.exp(-np.abs(x))))


def logit(chance: ArrayLike) -> Floats:
    """Return the log odds of a chance from 0 to 1, both included: minus and plus infinity."""
    p = np.asarray(chance, dtype=float)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(p) - np.log1p(-p))

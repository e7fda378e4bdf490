"""The interval likelihood of many rows as plain arrays, without slopes: for what is looked at after sampling.

The formulas are those of :mod:`holdcast.capacity.likelihood.interval_rows`, which is compiled for the
sampler; a test holds the two against each other.  Here nothing is compiled, so an answer begins a second
earlier.
"""

import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT

__all__ = ["log_inside"]

Numbers = NDArray[np.float64]


def log_inside(low: Numbers, high: Numbers, kind: NDArray[np.int64]) -> Numbers:
    """Return the log density or probability of readings under Student's t with 4 degrees of freedom.

    Parameters
    ----------
    low, high : arrays, shape (…, test)
        Ends of each reading, in scales from the median.
    kind : array, shape (test,)
        One of `EXACT`, `BELOW`, `ABOVE`, `BETWEEN`.

    Returns
    -------
    array, shape (…, test)
        Log density where exact, but for the scale; log probability elsewhere; 0 where nothing was read.
    """
    value = np.zeros(np.broadcast_shapes(low.shape, high.shape))
    low, high = np.broadcast_to(low, value.shape), np.broadcast_to(high, value.shape)
    for each in (EXACT, BELOW, ABOVE, BETWEEN):
        those = kind == each
        value[..., those] = np.log(_inside(low[..., those], high[..., those], each))
    return value


def _inside(low: Numbers, high: Numbers, kind: int) -> Numbers:
    """Return the density or probability of readings of one kind."""
    if kind == EXACT:
        return _density(high)
    if kind == BELOW:
        return _probability(0.0, _lower_tail(high))
    if kind == ABOVE:
        return _probability(0.0, _lower_tail(-low))
    # Mirrored, so that both ends lie where the tails are small: no cancellation.
    mirrored = low + high > 0.0
    far, near = np.where(mirrored, -high, low), np.where(mirrored, -low, high)
    return _probability(_lower_tail(far), _lower_tail(near))


def _density(t: Numbers) -> Numbers:
    square = 4.0 + t * t
    return np.asarray(12.0 / (square * square * np.sqrt(square)))


def _lower_tail(t: Numbers) -> Numbers:
    """Return c = 1 + t / sqrt(4 + t²), without cancellation for negative t."""
    root = np.sqrt(4.0 + t * t)
    tail = 4.0 / (root * (root + np.abs(t)))
    return np.asarray(np.where(t < 0.0, tail, 2.0 - tail))


def _probability(a: Numbers | float, b: Numbers) -> Numbers:
    """Return the probability between two ends, given their lower tails c."""
    return np.asarray((b - a) * (3.0 * (b + a) - (b * b + b * a + a * a)) / 4.0)

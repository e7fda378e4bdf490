"""The interval likelihood of many rows as plain arrays, without slopes: for what is looked at after sampling.

The formulas are those of :mod:`holdcast.capacity.likelihood.interval_rows` and of
:mod:`holdcast.capacity.likelihood.spot_rows`, which are compiled for the sampler; tests hold them against
each other.  Here nothing is compiled, so an answer begins a second earlier.
"""

import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT
from holdcast.capacity.likelihood.spot_grid import spot_grid, steps_of_spots

__all__ = ["log_inside", "log_inside_over_spots"]

Numbers = NDArray[np.float64]
_IN_CACHE = 8192
"""Numbers worked on at once: they stay in the processor's nearest cache."""


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
        value[..., those] = np.log(_inside(low[..., those], high[..., those], each, 0.0))
    return value


def log_inside_over_spots(low: Numbers, high: Numbers, kind: NDArray[np.int64], ratio: Numbers) -> Numbers:
    """Return the same of pulls that are each alone on a spot, summed over what the spots do.

    Parameters
    ----------
    low, high : arrays, shape (sample, test)
    kind : array, shape (test,)
        As for :func:`log_inside`.
    ratio : array, shape (sample, test)
        Spread of spots in scales.

    Returns
    -------
    array, shape (sample, test)
        On one grid of :mod:`holdcast.capacity.likelihood.spot_grid` for all.
    """
    places, weights = spot_grid(steps_of_spots(float(np.max(ratio, initial=0.0))))
    value = np.zeros(low.shape)
    for each in np.unique(kind):
        sample, test = np.nonzero(np.broadcast_to(kind == each, low.shape))
        for first in range(0, len(sample), _IN_CACHE):
            here = sample[first : first + _IN_CACHE], test[first : first + _IN_CACHE]
            below, above, spread = low[here], high[here], ratio[here]
            total = np.zeros(len(below))
            for place, weight in zip(places, weights, strict=True):
                total += weight * _inside(below, above, int(each), spread * place)
            value[here] = np.log(total)
    return value


def _inside(low: Numbers, high: Numbers, kind: int, shift: Numbers | float) -> Numbers:
    """Return the density or probability of readings of one kind whose median is shifted, in scales."""
    if kind == EXACT:
        return _density(high - shift)
    if kind == BELOW:
        return _below(high - shift)
    if kind == ABOVE:
        return _below(shift - low)
    if kind != BETWEEN:
        return np.ones(np.broadcast_shapes(low.shape, np.shape(shift)))
    # Mirrored, so that both ends lie where the tails are small: no cancellation.
    half = 0.5 * (high - low)
    aside = np.abs(0.5 * (low + high) - shift)
    a, b = _lower_tail(-half - aside), _lower_tail(half - aside)
    return np.asarray((b - a) * (3.0 * (b + a) - (b * b + b * a + a * a)) / 4.0)


def _density(t: Numbers) -> Numbers:
    square = 4.0 + t * t
    return np.asarray(12.0 / (square * square * np.sqrt(square)))


def _below(t: Numbers) -> Numbers:
    """Return the probability below t."""
    c = _lower_tail(t)
    return np.asarray(c * c * (3.0 - c) / 4.0)


def _lower_tail(t: Numbers) -> Numbers:
    """Return c = 1 + t / sqrt(4 + t²), without cancellation for negative t."""
    root = np.sqrt(4.0 + t * t)
    tail = 4.0 / (root * (root + np.abs(t)))
    return np.asarray(np.where(t < 0.0, tail, 2.0 - tail))

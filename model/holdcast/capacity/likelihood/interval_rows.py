"""The interval likelihood of one row and its slopes, compiled: for the sampler's pass and for single pulls.

The sampler's loop over the pulls (:mod:`holdcast.capacity.likelihood.pull_rows`) uses the row; the loop over
rows given as columns serves what looks at single pulls after sampling, and the tests as a reference.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT
from holdcast.capacity.symbols import Compiled

__all__ = [
    "ABOVE",
    "BELOW",
    "BETWEEN",
    "EXACT",
    "STUDENT_T",
    "Distribution",
    "Rows",
    "inside_of",
    "row_of",
    "rows_of",
]

Column = NDArray[np.float64]
Rows = Callable[[Column, Column, Column, Column, NDArray[np.int64]], tuple[Column, ...]]
"""(location, scale, lower, upper, kind) to the log likelihood and its slopes by the first four."""


@dataclass(frozen=True)
class Distribution:
    """A distribution symmetrical about 0 with scale 1, as functions of numbers compiled by numba.

    Attributes
    ----------
    density : z to the density.
    slope : z to the slope of the log density.
    probability : (far, near) to the probability between them; far <= near, and far may be minus infinity.
        Intervals come mirrored, so that no more of a finite one lies above 0 than below.
    """

    density: Any
    slope: Any
    probability: Any


@numba.njit  # type: ignore[untyped-decorator]
def _density(t: float) -> float:
    square = 4.0 + t * t
    return 12.0 / (square * square * math.sqrt(square))


@numba.njit  # type: ignore[untyped-decorator]
def _slope(t: float) -> float:
    return -5.0 * t / (4.0 + t * t)


@numba.njit  # type: ignore[untyped-decorator]
def _lower_tail(t: float) -> float:
    """Return c = 1 + t / sqrt(4 + t²), without cancellation for negative t."""
    root = math.sqrt(4.0 + t * t)
    tail = 4.0 / (root * (root + abs(t)))  # of the nearer side; without a branch, for loops of many rows
    return tail if t < 0.0 else 2.0 - tail


@numba.njit  # type: ignore[untyped-decorator]
def _probability(far: float, near: float) -> float:
    a, b = float(_lower_tail(far)), float(_lower_tail(near))
    return (b - a) * (3.0 * (b + a) - (b * b + b * a + a * a)) / 4.0


STUDENT_T = Distribution(_density, _slope, _probability)
"""Student's t with 4 degrees of freedom, in closed form (see
:mod:`holdcast.capacity.likelihood.interval`)."""


def inside_of(distribution: Distribution) -> Compiled:
    """Return the compiled function of one row's probability, or density where it is exact.

    It takes (low, high, kind), ends in scales from the median.
    """
    density, probability = distribution.density, distribution.probability

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def inside(low: float, high: float, kind: int) -> float:
        if kind == EXACT:
            return float(density(high))
        if kind == BELOW:
            return float(probability(-np.inf, high))
        if kind == ABOVE:
            return float(probability(-np.inf, -low))
        return float(probability(-high, -low) if low + high > 0.0 else probability(low, high))

    return inside


def row_of(distribution: Distribution) -> Compiled:
    """Return the compiled function of one row: (low, high, kind), ends in scales from the median.

    It gives the log likelihood, but for an exact row's scale, and its slopes by both ends.
    """
    density, slope, inside_ends = distribution.density, distribution.slope, inside_of(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def row(low: float, high: float, kind: int) -> tuple[float, float, float]:
        inside = inside_ends(low, high, kind)
        if kind == EXACT:
            return np.log(inside), 0.0, slope(high)
        if kind == BELOW:
            return np.log(inside), 0.0, density(high) / inside
        if kind == ABOVE:
            return np.log(inside), -density(low) / inside, 0.0
        return np.log(inside), -density(low) / inside, density(high) / inside

    return row


def rows_of(distribution: Distribution) -> Rows:
    """Return the compiled function that gives each row's log likelihood and its slopes.

    Parameters
    ----------
    distribution : Distribution
        Of the scatter.

    Returns
    -------
    callable
        See `Rows`; arrays of dims (trial,) in and out.  It raises ValueError when their lengths differ.
    """
    row = row_of(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def rows(
        location: Column, scale: Column, lower: Column, upper: Column, kind: NDArray[np.int64]
    ) -> tuple[Column, ...]:
        if not location.size == scale.size == lower.size == upper.size == kind.size:
            raise ValueError("location, scale, both ends and kind must have one entry each for every row")
        value, by_location, by_scale = np.empty(kind.size), np.empty(kind.size), np.empty(kind.size)
        by_lower, by_upper = np.empty(kind.size), np.empty(kind.size)
        for i in range(kind.size):
            low, high = (lower[i] - location[i]) / scale[i], (upper[i] - location[i]) / scale[i]
            likelihood, by_low, by_high = row(low, high, kind[i])
            exact = 1.0 if kind[i] == EXACT else 0.0
            value[i] = likelihood - exact * np.log(scale[i])
            by_lower[i], by_upper[i] = by_low / scale[i], by_high / scale[i]
            by_location[i] = -(by_low + by_high) / scale[i]
            by_scale[i] = -(low * by_low + high * by_high + exact) / scale[i]
        return value, by_location, by_scale, by_lower, by_upper

    compiled: Rows = rows
    return compiled

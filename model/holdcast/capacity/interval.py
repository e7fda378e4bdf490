"""Likelihood of a load known exactly, or only to lie above, below or between readings.

The scatter is a Student t with 4 degrees of freedom: heavier tails than a normal, so that a stone in the
crown moves the answer little (Lange, Little & Taylor 1989, *J. Am. Stat. Assoc.* 84:881, suggest about 4;
value from memory).  Its distribution function is closed: with u = t / √(4 + t²) and c = 1 + u,

    F(t) = c² (3 - c) / 4

so a probability between two ends is a polynomial in c, exact far into the tails when c is computed without
cancellation and each interval is mirrored to its lower tail.
"""

from collections.abc import Callable

import numpy as np
import pytensor.tensor as pt

from holdcast.capacity.symbols import Tensor

__all__ = [
    "ABOVE",
    "BELOW",
    "BETWEEN",
    "DEGREES_OF_FREEDOM",
    "EXACT",
    "Distribution",
    "interval_log_likelihood",
    "log_likelihood_by_kind",
]

DEGREES_OF_FREEDOM = 4.0
EXACT, BELOW, ABOVE, BETWEEN = 0, 1, 2, 3
"""How a load is known: exactly; only below its upper end; only above its lower end; between both."""

Distribution = tuple[Callable[[Tensor], Tensor], Callable[[Tensor, Tensor, Tensor], Tensor]]
"""A distribution symmetrical about 0 with scale 1: log density at z, and probability between two ends.

The second takes (far, near, open_end), far <= near: ends mirrored so that no more of the interval lies above
0 than below.  Where `open_end`, far counts as minus infinity and near may be anything."""

_LOG_DENSITY_AT_0 = float(np.log(0.375))


def interval_log_likelihood(
    location: Tensor, scale: Tensor, lower: Tensor, upper: Tensor, kind: Tensor
) -> Tensor:
    """Return the log likelihood of each row under the model's Student t scatter.

    Parameters and result are those of :func:`log_likelihood_by_kind`; finite, with finite gradients, to at
    least 40 scales.
    """
    return log_likelihood_by_kind(_STUDENT_T, location, scale, lower, upper, kind)


def log_likelihood_by_kind(
    distribution: Distribution, location: Tensor, scale: Tensor, lower: Tensor, upper: Tensor, kind: Tensor
) -> Tensor:
    """Return the log likelihood of each row under any symmetrical distribution of the scatter.

    Parameters
    ----------
    distribution : pair of functions
        Log density and probability, see `Distribution`.
    location, scale : tensors, dims (trial,)
        Median and scale of the log load.
    lower, upper : tensors, dims (trial,)
        Ends of the log load; finite everywhere (an open end holds any finite number, which is not used), and
        equal where `kind` is exact.
    kind : integer tensor, dims (trial,)
        One of `EXACT`, `BELOW`, `ABOVE`, `BETWEEN`.

    Returns
    -------
    tensor, dims (trial,)
        Log density where exact, log probability elsewhere.
    """
    log_density, probability_between = distribution
    exact, below, above = pt.eq(kind, EXACT), pt.eq(kind, BELOW), pt.eq(kind, ABOVE)
    low, high = (lower - location) / scale, (upper - location) / scale
    mirrored = pt.or_(above, pt.and_(pt.eq(kind, BETWEEN), pt.gt(low + high, 0.0)))
    near, far = pt.switch(mirrored, -low, high), pt.switch(mirrored, -high, low)
    probability = probability_between(far, near, pt.or_(below, above))
    density = log_density(high) - pt.log(scale)
    return pt.switch(exact, density, pt.log(pt.switch(exact, 1.0, probability)))


def _log_density(t: Tensor) -> Tensor:
    return _LOG_DENSITY_AT_0 - 2.5 * pt.log1p(t * t / 4.0)


def _probability_between(far: Tensor, near: Tensor, open_end: Tensor) -> Tensor:
    near, far = _lower_tail(near), pt.switch(open_end, 0.0, _lower_tail(far))
    return (near - far) * (3.0 * (near + far) - (near * near + near * far + far * far)) / 4.0


def _lower_tail(t: Tensor) -> Tensor:
    """Return c = 1 + t / sqrt(4 + t²), without cancellation for negative t."""
    square = 4.0 + t * t
    u = t / pt.sqrt(square)
    return pt.switch(pt.lt(t, 0.0), (4.0 / square) / (1.0 - pt.minimum(u, 0.0)), 1.0 + u)


_STUDENT_T: Distribution = (_log_density, _probability_between)

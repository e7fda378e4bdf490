"""Likelihood of a load known exactly, or only to lie above, below or between readings.

The scatter is a Student t with 4 degrees of freedom: heavier tails than a normal, so that a stone in the crown
moves the answer little (Lange, Little & Taylor 1989, *J. Am. Stat. Assoc.* 84:881, suggest about 4; value from
memory).  Its distribution function is closed: with u = t / √(4 + t²) and c = 1 + u,

    F(t) = c² (3 - c) / 4

so a probability between two ends is a polynomial in c, exact far into the tails when c is computed without
cancellation and each interval is mirrored to its lower tail.
"""

from typing import Any

import numpy as np
import pytensor.tensor as pt

__all__ = ["DEGREES_OF_FREEDOM", "EXACT", "BELOW", "ABOVE", "BETWEEN", "interval_log_likelihood"]

DEGREES_OF_FREEDOM = 4.0
EXACT, BELOW, ABOVE, BETWEEN = 0, 1, 2, 3
"""How a load is known: exactly; only below its upper end; only above its lower end; between both."""

_LOG_DENSITY_AT_0 = float(np.log(0.375))


def _lower_tail(t: Any) -> Any:
    """Return c = 1 + t / sqrt(4 + t²), without cancellation for negative t."""
    square = 4.0 + t * t
    u = t / pt.sqrt(square)
    return pt.switch(pt.lt(t, 0.0), (4.0 / square) / (1.0 - pt.minimum(u, 0.0)), 1.0 + u)


def interval_log_likelihood(location: Any, scale: Any, lower: Any, upper: Any, kind: Any) -> Any:
    """Return the log likelihood of each row.

    Parameters
    ----------
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
        Log density where exact, log probability elsewhere; finite with finite gradients to at least 40 scales.
    """
    exact, below, above = pt.eq(kind, EXACT), pt.eq(kind, BELOW), pt.eq(kind, ABOVE)
    low, high = (lower - location) / scale, (upper - location) / scale
    mirrored = pt.or_(above, pt.and_(pt.eq(kind, BETWEEN), pt.gt(low + high, 0.0)))
    open_end = pt.or_(below, above)
    near = _lower_tail(pt.switch(mirrored, -low, high))
    far = pt.switch(open_end, 0.0, _lower_tail(pt.switch(mirrored, -high, low)))
    probability = (near - far) * (3.0 * (near + far) - (near * near + near * far + far * far)) / 4.0
    density = _LOG_DENSITY_AT_0 - 2.5 * pt.log1p(high * high / 4.0) - pt.log(scale)
    return pt.switch(exact, density, pt.log(pt.switch(exact, 1.0, probability)))

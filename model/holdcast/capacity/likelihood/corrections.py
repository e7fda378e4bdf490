"""Ends of a load's interval brought to a pull along the bottom at rest, for given fall and rate effects."""

from collections.abc import Mapping

from holdcast.capacity.likelihood.kinds import BETWEEN, EXACT
from holdcast.capacity.symbols import Tensor
from holdcast.physics.elementwise import equal, log1p, maximum, where
from holdcast.physics.ground.rate import log_rate_factor

__all__ = ["LEAST_WIDTH", "corrected_ends"]

LEAST_WIDTH = 0.02
"""Least width of an interval on the log scale once its ends were corrected for drag speed: a reading's own
resolution, about 2% (common practice, no source)."""


def corrected_ends(data: Mapping[str, Tensor], fall: Tensor, rate: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Return lower and upper log loads at reference conditions and the log Jacobian of exact rows.

    Parameters
    ----------
    data : mapping
        ``lower``, ``upper`` [log N], ``kind``, ``fall_lower``, ``fall_upper``, ``fall_slope``, ``speed``
        [m/s] as :func:`holdcast.capacity.inputs.layout.trial_ends` gives them, dim trial.
    fall : number
        Strength of the fall with the uplift angle [1], see :mod:`holdcast.physics.rode.uplift`.
    rate : tensor, dim trial
        Gain per tenfold drag speed [1], see :mod:`holdcast.physics.ground.rate`.

    Returns
    -------
    tuple of tensors, dim trial
        Each end is turned at its own load; only an upper end was read while dragging.  Where both ends were
        read, the load held at rest stands, whatever the rate effect takes off: the interval keeps at least
        `LEAST_WIDTH`.  An exact row was read while dragging and is brought to rest as a whole.
    """
    exact, between = equal(data["kind"], EXACT), equal(data["kind"], BETWEEN)
    low = data["lower"] + fall * data["fall_lower"]
    high = data["upper"] + fall * data["fall_upper"] - log_rate_factor(data["speed"], rate)
    low = where(exact, high, low)
    high = where(between, maximum(high, low + LEAST_WIDTH), high)
    return low, high, where(exact, log1p(fall * data["fall_slope"]), 0.0)

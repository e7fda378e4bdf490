"""The likelihood of one pull whose anchor set, and its slopes, compiled.

Written out by hand because it is most of the sampler's work: a graph of array operations walks over the rows
some thirty times, to look up what belongs to each, to bring its ends to rest and to add up the slopes again.
"""

import math

import numba

from holdcast.capacity.likelihood.corrections import LEAST_WIDTH
from holdcast.capacity.likelihood.interval_rows import BETWEEN, EXACT, Distribution
from holdcast.capacity.likelihood.spot_rows import row_over_spots
from holdcast.capacity.symbols import Compiled
from holdcast.physics.ground.rate import REFERENCE_DRAG_SPEED

__all__ = ["drag_gain", "ends_at_rest", "jacobian_of", "one_pull"]

_LN_10 = math.log(10.0)


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def drag_gain(speed: float, rate: float) -> tuple[float, float]:
    """Return the log of the gain by drag speed and its slope by the rate (``physics.rate``)."""
    if speed <= REFERENCE_DRAG_SPEED:
        return 0.0, 0.0
    decades = math.log(speed / REFERENCE_DRAG_SPEED) / _LN_10
    return math.log1p(rate * decades), decades / (1.0 + rate * decades)


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def ends_at_rest(
    kind: int, lower: float, upper: float, falls: tuple[float, float], fall: float, drag: float
) -> tuple[float, float, bool]:
    """Return both ends at reference conditions [log N], and whether the least width holds them apart.

    ``falls`` belong to the lower and the upper end; ``drag`` is the log gain by drag speed.
    """
    high = upper + fall * falls[1] - drag
    if kind == EXACT:
        return high, high, False
    low = lower + fall * falls[0]
    if kind == BETWEEN and high < low + LEAST_WIDTH:
        return low, low + LEAST_WIDTH, True
    return low, high, False


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def jacobian_of(fall_slope: float, fall: float) -> float:
    """Return how fast the log load at reference conditions moves with the one that was read [1]."""
    return 1.0 + fall * fall_slope


def one_pull(distribution: Distribution) -> Compiled:
    """Return the compiled function of one pull: its log likelihood and slopes.

    Parameters
    ----------
    distribution : Distribution
        Of the scatter.

    Returns
    -------
    callable
        Takes the kind, ``lower`` and ``upper`` [log N], the falls (lower, upper, slope) [1], the drag speed
        [m/s] and the effects: location [log N], 1 / scatter, strength of the fall, rate per decade, and the
        spread of spots [log N] over which the pull is to be summed, 0 where its spot is part of the location.
        Gives the log likelihood and its slopes by location, scatter, strength of the fall, rate, spread of
        spots, ``lower`` and ``upper``.
    """
    row = row_over_spots(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def pull(
        kind: int,
        lower: float,
        upper: float,
        falls: tuple[float, float, float],
        speed: float,
        effects: tuple[float, float, float, float, float],
    ) -> tuple[float, tuple[float, float, float, float, float, float, float]]:
        location, per_scatter, fall, rate, spots = effects
        drag, drag_slope = drag_gain(speed, rate)
        low, high, held_apart = ends_at_rest(kind, lower, upper, falls[:2], fall, drag)
        below, above = (low - location) * per_scatter, (high - location) * per_scatter
        ratio = spots * per_scatter
        likelihood, by_low, by_high, by_ratio = row(below, above, kind, ratio)
        by_scatter, by_jacobian = below * by_low + above * by_high + ratio * by_ratio, 0.0
        if kind == EXACT:
            jacobian = jacobian_of(falls[2], fall)
            likelihood += math.log(jacobian * per_scatter)
            by_scatter += 1.0
            by_jacobian = falls[2] / jacobian
        # An end held apart by the least width moves with the other.
        if held_apart:
            by_low, by_high = by_low + by_high, 0.0
        return likelihood, (
            -(by_low + by_high) * per_scatter,
            -by_scatter * per_scatter,
            (falls[0] * by_low + falls[1] * by_high) * per_scatter + by_jacobian,
            -drag_slope * by_high * per_scatter,
            by_ratio * per_scatter,
            by_low * per_scatter,
            by_high * per_scatter,
        )

    return pull

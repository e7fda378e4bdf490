"""The likelihood of all pulls and its slopes in one compiled pass over the rows.

Written out by hand because it is most of the sampler's work: a graph of array operations walks over the rows
some thirty times, to look up what belongs to each, to bring its ends to rest and to add up the slopes again.
"""

import math
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.corrections import LEAST_WIDTH
from holdcast.capacity.likelihood.interval_rows import BETWEEN, EXACT, Distribution, row_of
from holdcast.capacity.symbols import Compiled
from holdcast.physics.ground.rate import REFERENCE_DRAG_SPEED

__all__ = ["PullLoop", "pull_loop"]

Numbers = NDArray[np.float64]
Positions = NDArray[np.int64]
PullLoop = Callable[..., tuple[Numbers, ...]]
"""Effects and the columns of the pulls to the log likelihood and its slopes: see :func:`pull_loop`."""

_LN_10 = math.log(10.0)


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _drag(speed: float, rate: float) -> tuple[float, float]:
    """Return the log of the gain by drag speed and its slope by the rate (``physics.rate``)."""
    if speed <= REFERENCE_DRAG_SPEED:
        return 0.0, 0.0
    decades = math.log(speed / REFERENCE_DRAG_SPEED) / _LN_10
    return math.log1p(rate * decades), decades / (1.0 + rate * decades)


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _ends(
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


def pull_loop(distribution: Distribution) -> PullLoop:
    """Return the compiled function that gives the log likelihood of all pulls and its slopes.

    Parameters
    ----------
    distribution : Distribution
        Of the scatter.

    Returns
    -------
    callable
        Takes capacity (anchor, seabed) and visit (visit) [log N], scatter (seabed), the strength of the fall
        (no dims) and the rate per decade (seabed) [1]; then columns of dim trial: positions of anchor,
        seabed and visit, the kind, and ``lower``, ``upper`` [log N], ``fall_lower``, ``fall_upper``,
        ``fall_slope`` [1] and ``speed`` [m/s] as
        :func:`holdcast.capacity.likelihood.corrections.corrected_ends` takes them.  Gives the log likelihood
        (no dims) and its slopes by the first five.  Raises ValueError when columns differ in length.
    """
    pull = _one_pull(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def pulls(
        capacity: Numbers,
        visit: Numbers,
        scatter: Numbers,
        fall: Numbers,
        rate: Numbers,
        *columns: NDArray[Any],
    ) -> tuple[Any, ...]:
        anchor_of, seabed_of, visit_of, kind, lower, upper, fall_lower, fall_upper, fall_slope, speed = (
            columns
        )
        if not kind.size == anchor_of.size == seabed_of.size == visit_of.size == lower.size == upper.size:
            raise ValueError("all columns must have one entry for every pull")
        if not kind.size == fall_lower.size == fall_upper.size == fall_slope.size == speed.size:
            raise ValueError("all columns must have one entry for every pull")
        total, by_fall = 0.0, 0.0
        by_capacity, by_visit = np.zeros_like(capacity), np.zeros_like(visit)
        by_scatter, by_rate = np.zeros_like(scatter), np.zeros_like(rate)
        for i in range(kind.size):
            anchor, seabed, visit_at = anchor_of[i], seabed_of[i], visit_of[i]
            location = capacity[anchor, seabed] + visit[visit_at]
            falls = fall_lower[i], fall_upper[i], fall_slope[i]
            effects = (location, 1.0 / scatter[seabed], fall[()], rate[seabed])
            likelihood, slopes = pull(kind[i], lower[i], upper[i], falls, speed[i], effects)
            total += likelihood
            by_capacity[anchor, seabed] += slopes[0]
            by_visit[visit_at] += slopes[0]
            by_scatter[seabed] += slopes[1]
            by_fall += slopes[2]
            by_rate[seabed] += slopes[3]
        return np.asarray(total), by_capacity, by_visit, by_scatter, np.asarray(by_fall), by_rate

    compiled: PullLoop = pulls
    return compiled


def _one_pull(distribution: Distribution) -> Compiled:
    """Return the compiled function of one pull: its log likelihood and slopes.

    The slopes are by location, scatter, strength of the fall and rate.
    """
    row = row_of(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def pull(
        kind: int,
        lower: float,
        upper: float,
        falls: tuple[float, float, float],
        speed: float,
        effects: tuple[float, float, float, float],
    ) -> tuple[float, tuple[float, float, float, float]]:
        location, per_scatter, fall, rate = effects
        drag, drag_slope = _drag(speed, rate)
        low, high, held_apart = _ends(kind, lower, upper, falls[:2], fall, drag)
        below, above = (low - location) * per_scatter, (high - location) * per_scatter
        likelihood, by_low, by_high = row(below, above, kind)
        by_scatter, by_jacobian = below * by_low + above * by_high, 0.0
        if kind == EXACT:
            jacobian = 1.0 + fall * falls[2]
            likelihood += math.log(jacobian * per_scatter)
            by_scatter += 1.0
            by_jacobian = falls[2] / jacobian
        # An end held apart by the least width moves with the other.
        fall_of_high, drag_of_high = (falls[0], 0.0) if held_apart else (falls[1], drag_slope)
        return likelihood, (
            -(by_low + by_high) * per_scatter,
            -by_scatter * per_scatter,
            (falls[0] * by_low + fall_of_high * by_high) * per_scatter + by_jacobian,
            -drag_of_high * by_high * per_scatter,
        )

    return pull

"""The likelihood of all pulls and its slopes, in one compiled pass over the anchors of each visit."""

import math
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.interval_rows import BELOW, EXACT, Distribution
from holdcast.capacity.likelihood.pull_rows import one_pull
from holdcast.capacity.likelihood.setting_rows import (
    DID_NOT_SET,
    SET,
    UNREAD,
    room_for,
    sliding_row,
    weigh_setting,
)

_BEYOND_SLIDING = 6.0
"""Standard deviations above the middle of sliding loads beyond which a pull that held so much has set: one in
a thousand million slides there."""

__all__ = ["PULL_COLUMNS", "PULL_EFFECTS", "Loop", "pull_loop"]

Numbers = NDArray[np.float64]
Loop = Callable[..., tuple[Numbers, ...]]
"""Effects, then columns of data, to a log likelihood and its slopes by each effect."""

PULL_EFFECTS = (
    *("capacity", "visit", "spot", "scatter", "fall", "rate"),
    *("odds", "concentration", "sliding", "sliding_scatter"),
)
"""What moves the likelihood, in the order in which the loop takes it; `PULL_COLUMNS` follow.

``capacity`` (anchor, seabed), ``visit`` (visit), ``spot`` (spot) and ``sliding`` (anchor) [log N]; ``odds``
(anchor, seabed), log odds of setting; ``scatter`` and ``rate`` (seabed), ``fall``, ``concentration`` and
``sliding_scatter`` (no dims) [1].  A spot is one anchor on one visit.
"""

PULL_COLUMNS = (
    *(
        "spot_anchor",
        "spot_seabed",
        "spot_visit",
        "spot_first",
        "spot_pulls",
        "pull_order",
        "kind",
        "setting",
    ),
    *("lower", "upper", "fall_lower", "fall_upper", "fall_slope", "speed"),
)
"""Data in the order in which the loop takes them: positions of each spot's anchor, seabed and visit, and
where its pulls begin in ``pull_order`` and how many they are (dim spot); the rest of dim trial,
``pull_order`` being positions of pulls, spot by spot, and ``setting`` one of the words of
:mod:`.setting_rows`."""


def pull_loop(distribution: Distribution) -> Loop:  # noqa: PLR0915 - one pass, written out
    """Return the compiled function that gives the log likelihood of all pulls and its slopes.

    Parameters
    ----------
    distribution : Distribution
        Of the scatter of pulls whose anchor set.

    Returns
    -------
    callable
        Takes `PULL_EFFECTS` and `PULL_COLUMNS`.  Gives the log likelihood (no dims) and its slopes by the
        effects.  Raises ValueError when columns differ in length.
    """
    pull = one_pull(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def row_if_set(
        i: int, effects: tuple[float, float, float, float], columns: tuple[NDArray[Any], ...], slopes: Numbers
    ) -> float:
        kind, setting, lower, upper, fall_lower, fall_upper, fall_slope, speed = columns
        slopes[:] = 0.0
        if setting[i] == DID_NOT_SET:
            return -np.inf
        falls = fall_lower[i], fall_upper[i], fall_slope[i]
        likelihood, by = pull(kind[i], lower[i], upper[i], falls, speed[i], effects)
        slopes[0], slopes[1], slopes[2], slopes[3] = by[0], by[1], by[2], by[3]
        return float(likelihood)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def pulls(  # noqa: PLR0913 - whatever moves the likelihood
        capacity: Numbers,
        visit: Numbers,
        spot: Numbers,
        scatter: Numbers,
        fall: Numbers,
        rate: Numbers,
        odds: Numbers,
        concentration: Numbers,
        sliding: Numbers,
        sliding_scatter: Numbers,
        *columns: NDArray[Any],
    ) -> tuple[Any, ...]:
        spot_anchor, spot_seabed, spot_visit, first, number, order = columns[:6]
        read = columns[6:]
        kind, setting, lower, upper = read[:4]
        _check_lengths(columns)
        total, by_fall, by_concentration, by_sliding_scatter = 0.0, 0.0, 0.0, 0.0
        by_capacity, by_visit, by_spot = np.zeros_like(capacity), np.zeros_like(visit), np.zeros_like(spot)
        by_scatter, by_rate = np.zeros_like(scatter), np.zeros_like(rate)
        by_odds, by_sliding = np.zeros_like(odds), np.zeros_like(sliding)
        most = 1 if number.size == 0 else max(1, number.max())
        lattice, ahead = room_for(most)
        log_set, log_slid = np.empty(most), np.empty(most)
        if_set, if_slid = np.empty((most, 4)), np.empty((most, 2))
        for at in range(number.size):
            pulled = number[at]
            if pulled == 0:
                continue
            anchor, seabed = spot_anchor[at], spot_seabed[at]
            location = capacity[anchor, seabed] + visit[spot_visit[at]] + spot[at]
            effects = (location, 1.0 / scatter[seabed], fall[()], rate[seabed])
            for k in range(pulled):
                i = order[first[at] + k]
                log_set[k] = row_if_set(i, effects, read, if_set[k])
                log_slid[k] = _row_if_slid(
                    kind[i], setting[i], lower[i] - sliding[anchor], upper[i] - sliding[anchor],
                    1.0 / sliding_scatter[()], if_slid[k],
                )  # fmt: skip
            likelihood, slope_odds, slope_concentration = weigh_setting(
                log_set[:pulled], log_slid[:pulled], odds[anchor, seabed], concentration[()], lattice, ahead
            )
            total += likelihood
            by_odds[anchor, seabed] += slope_odds
            by_concentration += slope_concentration
            for k in range(pulled):
                had_set, slid = log_set[k], 1.0 - log_set[k]
                by_spot[at] += had_set * if_set[k, 0]
                by_scatter[seabed] += had_set * if_set[k, 1]
                by_fall += had_set * if_set[k, 2]
                by_rate[seabed] += had_set * if_set[k, 3]
                by_sliding[anchor] += slid * if_slid[k, 0]
                by_sliding_scatter += slid * if_slid[k, 1]
            by_capacity[anchor, seabed] += by_spot[at]
            by_visit[spot_visit[at]] += by_spot[at]
        return (
            np.asarray(total), by_capacity, by_visit, by_spot, by_scatter, np.asarray(by_fall), by_rate,
            by_odds, np.asarray(by_concentration), by_sliding, np.asarray(by_sliding_scatter),
        )  # fmt: skip

    compiled: Loop = pulls
    return compiled


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _row_if_slid(
    kind: int, setting: int, low: float, high: float, per_scatter: float, slopes: Numbers
) -> float:
    """Return the log likelihood of a reading of a pull that did not set; slopes by sliding load, scatter.

    An anchor that was stopped while it held has set, whatever was written.
    """
    slopes[:] = 0.0
    if setting == SET:
        return -np.inf
    below, above = low * per_scatter, high * per_scatter
    # Only where it was left open: said not to have set, a pull that held much is unlikely, not impossible.
    if setting != DID_NOT_SET and kind != BELOW and kind != UNREAD and below > _BEYOND_SLIDING:
        return -np.inf
    value, by_low, by_high = sliding_row(kind, below, above)
    slopes[0] = -(by_low + by_high) * per_scatter
    slopes[1] = -(below * by_low + above * by_high) * per_scatter
    if kind == EXACT:  # an exact load: a density of the log load
        value += math.log(per_scatter)
        slopes[1] -= per_scatter
    return float(value)


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _check_lengths(columns: tuple[NDArray[Any], ...]) -> None:
    spot_anchor, spot_seabed, spot_visit, first, number = columns[:5]
    if not spot_anchor.size == spot_seabed.size == spot_visit.size == first.size == number.size:
        raise ValueError("all columns must have one entry for every spot")
    order, kind, setting, lower, upper, fall_lower, fall_upper, fall_slope, speed = columns[5:]
    pulls = order.size
    if not pulls == kind.size == setting.size == lower.size == upper.size == speed.size:
        raise ValueError("all columns must have one entry for every pull")
    if not pulls == fall_lower.size == fall_upper.size == fall_slope.size:
        raise ValueError("all columns must have one entry for every pull")
    if number.sum() != pulls:
        raise ValueError("every pull must belong to one spot")

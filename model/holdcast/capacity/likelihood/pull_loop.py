"""The likelihood of all pulls and its slopes, compiled, in three passes over the anchors of each visit.

The passes take their arrays apart once and hand only numbers to what they call.  Each array that is handed
over, or taken out of a tuple, costs two locked counts of who holds it, more than a row's arithmetic: so what
must take arrays spot by spot is compiled without counts (the compiler's ``_nrt``), and makes none of its own.
"""

import math
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.interval_rows import ABOVE, BELOW, EXACT, Distribution
from holdcast.capacity.likelihood.pull_rows import one_pull
from holdcast.capacity.likelihood.setting_rows import (
    DID_NOT_SET,
    SET,
    UNREAD,
    log_chance_all_set,
    log_chances_of_word,
    room_for,
    sliding_row,
    weigh_one,
    weigh_setting,
)
from holdcast.capacity.symbols import Compiled

_BEYOND_SLIDING = 6.0
"""Standard deviations above the middle of sliding loads beyond which a pull that held so much has set: one in
a thousand million slides there."""

__all__ = ["ALONE", "PULL_COLUMNS", "PULL_EFFECTS", "Loop", "pull_loop", "row_if_slid"]

Numbers = NDArray[np.float64]
Loop = Callable[..., tuple[Numbers, ...]]
"""Effects, then columns of data, to a log likelihood and its slopes by each effect."""

PULL_EFFECTS = (
    *("capacity", "visit", "spot", "scatter", "fall", "rate"),
    *("odds", "concentration", "sliding", "sliding_scatter", "spot_spread"),
)
"""What moves the likelihood, in the order in which the loop takes it; `PULL_COLUMNS`, `ALONE` follow.

``capacity`` (anchor, seabed), ``visit`` (visit), ``spot`` (spot) and ``sliding`` (anchor) [log N]; ``odds``
(anchor, seabed), log odds of setting; ``scatter`` and ``rate`` (seabed), ``fall``, ``concentration``,
``sliding_scatter`` and ``spot_spread`` (no dims) [1].  A spot is one anchor on one visit.
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

ALONE = "spot_alone"
"""Data too, dim spot: 1 where one pull is the spot's only test, and the spot's own effect is summed over with
``spot_spread`` in place of being among ``spot``; 0 elsewhere."""

_EFFECTS = len(PULL_EFFECTS)


def pull_loop(distribution: Distribution) -> Loop:
    """Return the compiled function that gives the log likelihood of all pulls and its slopes.

    Parameters
    ----------
    distribution : Distribution
        Of the scatter of pulls whose anchor set.

    Returns
    -------
    callable
        Takes `PULL_EFFECTS`, `PULL_COLUMNS` and `ALONE`.  Gives the log likelihood (no dims) and its slopes
        by the effects.  Raises ValueError when columns differ in length.
    """
    fill_rows = _fill_rows(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def pulls(*inputs: NDArray[Any]) -> tuple[Any, ...]:
        effects, columns, alone = inputs[:_EFFECTS], inputs[_EFFECTS:-1], inputs[-1]
        capacity, visit, spot, scatter, fall, rate, odds, concentration = effects[:8]
        sliding, sliding_scatter, spot_spread = effects[8:]
        _check_lengths(columns, alone)
        slopes = (
            *(np.zeros_like(capacity), np.zeros_like(visit), np.zeros_like(spot), np.zeros_like(scatter)),
            *(np.zeros(fall.shape), np.zeros_like(rate), np.zeros_like(odds)),
            *(np.zeros(concentration.shape), np.zeros_like(sliding), np.zeros(sliding_scatter.shape)),
            np.zeros(spot_spread.shape),
        )
        number = columns[5].size
        rows = np.empty(number), np.empty(number), np.zeros((number, 5)), np.zeros((number, 2))
        fill_rows(effects, columns, alone, rows)
        pulls_of_spot = columns[4]
        room = room_for(1 if pulls_of_spot.size == 0 else max(1, pulls_of_spot.max()))
        total = _weigh_spots(effects, columns, rows, slopes, room)
        _add_slopes(columns, rows, slopes)
        return (np.asarray(total), *slopes)

    compiled: Loop = pulls
    return compiled


def _fill_rows(distribution: Distribution) -> Compiled:
    """Return the compiled function that fills in the likelihood of each pull, set or slid, spot by spot."""
    pull = one_pull(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def fill_rows(effects: Any, columns: Any, alone: Any, rows: Any) -> None:  # noqa: ANN401
        capacity, visit, spot, scatter, fall, rate = effects[:6]
        sliding, sliding_scatter, spot_spread = effects[8:]
        spot_anchor, spot_seabed, spot_visit, first, number, order = columns[:6]
        kind, setting, lower, upper, fall_lower, fall_upper, fall_slope, speed = columns[6:]
        log_set, log_slid, if_set, if_slid = rows
        for at in range(number.size):
            anchor, seabed = spot_anchor[at], spot_seabed[at]
            location = capacity[anchor, seabed] + visit[spot_visit[at]] + spot[at]
            spots = spot_spread[()] * alone[at]
            moving = (location, 1.0 / scatter[seabed], fall[()], rate[seabed], spots)
            for k in range(first[at], first[at] + number[at]):
                i = order[k]
                word_if_set, word_if_slid = log_chances_of_word(setting[i], kind[i])
                log_set[k] = -np.inf
                if kind[i] != UNREAD:  # else said not to have set, and no load to say otherwise
                    falls = fall_lower[i], fall_upper[i], fall_slope[i]
                    value, by = pull(kind[i], lower[i], upper[i], falls, speed[i], moving)
                    log_set[k] = value + word_if_set
                    if_set[k, 0], if_set[k, 1], if_set[k, 2], if_set[k, 3] = by[0], by[1], by[2], by[3]
                    if_set[k, 4] = by[4] * alone[at]
                low, high = lower[i] - sliding[anchor], upper[i] - sliding[anchor]
                value, if_slid[k, 0], if_slid[k, 1] = row_if_slid(
                    kind[i], setting[i], low, high, 1.0 / sliding_scatter[()]
                )
                log_slid[k] = word_if_slid + value

    return fill_rows


@numba.njit(error_model="numpy", _nrt=False)  # type: ignore[untyped-decorator]
def _weigh_spots(effects: Any, columns: Any, rows: Any, slopes: Any, room: Any) -> float:  # noqa: ANN401
    """Return the log likelihood of all spots; put each pull's chance of having set in place of `log_set`."""
    spot_anchor, spot_seabed, _, first, number = columns[:5]
    odds, concentration = effects[6:8]
    log_set, log_slid = rows[:2]
    by_odds, by_concentration = slopes[6:8]
    lattice, ahead = room
    total = 0.0
    for at in range(number.size):
        cell, begin, end = (spot_anchor[at], spot_seabed[at]), first[at], first[at] + number[at]
        readings, all_set = 0.0, True
        for k in range(begin, end):
            readings += log_set[k]
            all_set &= log_slid[k] == -np.inf
        if all_set:  # the usual case: nothing is left to weigh
            log_chance, slope, other = log_chance_all_set(number[at], odds[cell], concentration[()])
            likelihood = readings + log_chance
            for k in range(begin, end):
                log_set[k] = 1.0
        elif number[at] == 1:
            likelihood, slope, log_set[begin] = weigh_one(log_set[begin], log_slid[begin], odds[cell])
            other = 0.0
        else:
            likelihood, slope, other = weigh_setting(
                log_set[begin:end], log_slid[begin:end], odds[cell], concentration[()], lattice, ahead
            )
        total += likelihood
        by_odds[cell] += slope
        by_concentration[()] += other
    return total


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _add_slopes(columns: Any, rows: Any, slopes: Any) -> None:  # noqa: ANN401
    """Add up the slopes of each pull's two branches, each by its chance, for what moves them."""
    spot_anchor, spot_seabed, spot_visit, first, number = columns[:5]
    had_set, _, if_set, if_slid = rows
    by_capacity, by_visit, by_spot, by_scatter, by_fall, by_rate = slopes[:6]
    by_sliding, by_sliding_scatter, by_spots = slopes[8:]
    for at in range(number.size):
        anchor, seabed = spot_anchor[at], spot_seabed[at]
        for k in range(first[at], first[at] + number[at]):
            sets, slid = had_set[k], 1.0 - had_set[k]
            by_spot[at] += sets * if_set[k, 0]
            by_scatter[seabed] += sets * if_set[k, 1]
            by_fall[()] += sets * if_set[k, 2]
            by_rate[seabed] += sets * if_set[k, 3]
            by_spots[()] += sets * if_set[k, 4]
            by_sliding[anchor] += slid * if_slid[k, 0]
            by_sliding_scatter[()] += slid * if_slid[k, 1]
        by_capacity[anchor, seabed] += by_spot[at]
        by_visit[spot_visit[at]] += by_spot[at]


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def row_if_slid(
    kind: int, setting: int, low: float, high: float, per_scatter: float
) -> tuple[float, float, float]:
    """Return the log likelihood of a reading of a pull that did not set; slopes by sliding load, scatter.

    An anchor that was stopped while it held has set, unless the log says that it did not.
    """
    if setting == SET and kind == ABOVE:
        return -np.inf, 0.0, 0.0
    below, above = low * per_scatter, high * per_scatter
    # Only where it was left open: said not to have set, a pull that held much is unlikely, not impossible.
    if setting != DID_NOT_SET and kind != BELOW and kind != UNREAD and below > _BEYOND_SLIDING:
        return -np.inf, 0.0, 0.0
    value, by_low, by_high = sliding_row(kind, below, above)
    by_scatter = -(below * by_low + above * by_high) * per_scatter
    if kind == EXACT:  # an exact load: a density of the log load
        value += math.log(per_scatter)
        by_scatter -= per_scatter
    return value, -(by_low + by_high) * per_scatter, by_scatter


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _check_lengths(columns: tuple[NDArray[Any], ...], alone: NDArray[Any]) -> None:
    spot_anchor, spot_seabed, spot_visit, first, number = columns[:5]
    if not spot_anchor.size == spot_seabed.size == spot_visit.size == first.size == number.size == alone.size:
        raise ValueError("all columns must have one entry for every spot")
    order, kind, setting, lower, upper, fall_lower, fall_upper, fall_slope, speed = columns[5:]
    pulls = order.size
    if not pulls == kind.size == setting.size == lower.size == upper.size == speed.size:
        raise ValueError("all columns must have one entry for every pull")
    if not pulls == fall_lower.size == fall_upper.size == fall_slope.size:
        raise ValueError("all columns must have one entry for every pull")
    if number.sum() != pulls:
        raise ValueError("every pull must belong to one spot")

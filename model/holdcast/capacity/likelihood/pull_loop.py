"""The likelihood of all pulls and its slopes, in one compiled pass over the anchors of each visit."""

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
    log_chances_of_word,
    room_for,
    sliding_row,
    weigh_setting,
)
from holdcast.capacity.symbols import Compiled

_BEYOND_SLIDING = 6.0
"""Standard deviations above the middle of sliding loads beyond which a pull that held so much has set: one in
a thousand million slides there."""

__all__ = ["PULL_COLUMNS", "PULL_EFFECTS", "Loop", "one_spot_of", "pull_loop", "row_if_slid"]

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
        Takes `PULL_EFFECTS` and `PULL_COLUMNS`.  Gives the log likelihood (no dims) and its slopes by the
        effects.  Raises ValueError when columns differ in length.
    """
    one_spot = one_spot_of(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def pulls(*inputs: NDArray[Any]) -> tuple[Any, ...]:
        effects, columns = inputs[:_EFFECTS], inputs[_EFFECTS:]
        capacity, visit, spot, scatter, fall, rate, odds, concentration, sliding, sliding_scatter = effects
        _check_lengths(columns)
        number = columns[4]
        slopes = (
            *(np.zeros_like(capacity), np.zeros_like(visit), np.zeros_like(spot), np.zeros_like(scatter)),
            *(np.zeros(fall.shape), np.zeros_like(rate), np.zeros_like(odds)),
            *(np.zeros(concentration.shape), np.zeros_like(sliding), np.zeros(sliding_scatter.shape)),
        )
        most = 1 if number.size == 0 else max(1, number.max())
        rows = np.empty(most), np.empty(most), np.empty((most, 4)), np.empty((most, 2))
        room = room_for(most)
        total = 0.0
        for at in range(number.size):
            if number[at] > 0:
                total += one_spot(at, effects, columns, slopes, rows, room)
        return (np.asarray(total), *slopes)

    compiled: Loop = pulls
    return compiled


def one_spot_of(distribution: Distribution) -> Compiled:
    """Return the compiled function of one spot: its log likelihood, its slopes added to those at hand."""
    fill_rows = _fill_rows(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def one_spot(at: int, effects: Any, columns: Any, slopes: Any, rows: Any, room: Any) -> float:  # noqa: ANN401
        anchor, seabed, visit = columns[0][at], columns[1][at], columns[2][at]
        pulled = columns[4][at]
        log_set, log_slid, if_set, if_slid = rows
        fill_rows(at, effects, columns, rows)
        likelihood, by_odds, by_concentration = weigh_setting(
            log_set[:pulled], log_slid[:pulled], effects[6][anchor, seabed], effects[7][()], room[0], room[1]
        )
        slopes[6][anchor, seabed] += by_odds
        slopes[7][()] += by_concentration
        for k in range(pulled):
            had_set, slid = log_set[k], 1.0 - log_set[k]
            slopes[2][at] += had_set * if_set[k, 0]
            slopes[3][seabed] += had_set * if_set[k, 1]
            slopes[4][()] += had_set * if_set[k, 2]
            slopes[5][seabed] += had_set * if_set[k, 3]
            slopes[8][anchor] += slid * if_slid[k, 0]
            slopes[9][()] += slid * if_slid[k, 1]
        slopes[0][anchor, seabed] += slopes[2][at]
        slopes[1][visit] += slopes[2][at]
        return float(likelihood)

    return one_spot


def _fill_rows(distribution: Distribution) -> Compiled:
    """Return the compiled function that fills in the likelihoods of a spot's pulls, set or slid."""
    pull = one_pull(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def fill_rows(at: int, effects: Any, columns: Any, rows: Any) -> None:  # noqa: ANN401
        capacity, visit, spot, scatter, fall, rate = effects[:6]
        sliding, sliding_scatter = effects[8:]
        first, number, order = columns[3:6]
        kind, setting, lower, upper, fall_lower, fall_upper, fall_slope, speed = columns[6:]
        log_set, log_slid, if_set, if_slid = rows
        anchor, seabed = columns[0][at], columns[1][at]
        location = capacity[anchor, seabed] + visit[columns[2][at]] + spot[at]
        moving = (location, 1.0 / scatter[seabed], fall[()], rate[seabed])
        for k in range(number[at]):
            i = order[first[at] + k]
            word_if_set, word_if_slid = log_chances_of_word(setting[i], kind[i])
            if kind[i] == UNREAD:  # said not to have set, and no load to say otherwise
                log_set[k] = -np.inf
                if_set[k] = 0.0
            else:
                falls = fall_lower[i], fall_upper[i], fall_slope[i]
                log_set[k], by = pull(kind[i], lower[i], upper[i], falls, speed[i], moving)
                log_set[k] += word_if_set
                if_set[k, 0], if_set[k, 1], if_set[k, 2], if_set[k, 3] = by[0], by[1], by[2], by[3]
            low, high = lower[i] - sliding[anchor], upper[i] - sliding[anchor]
            log_slid[k] = word_if_slid + row_if_slid(
                kind[i], setting[i], low, high, 1.0 / sliding_scatter[()], if_slid[k]
            )

    return fill_rows


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def row_if_slid(
    kind: int, setting: int, low: float, high: float, per_scatter: float, slopes: Numbers
) -> float:
    """Return the log likelihood of a reading of a pull that did not set; slopes by sliding load, scatter.

    An anchor that was stopped while it held has set, unless the log says that it did not.
    """
    slopes[:] = 0.0
    if setting == SET and kind == ABOVE:
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

"""The likelihood of one spot's tests given the sum of visit and spot, without slopes.

It is built of the functions that the fit's loops are built of (:mod:`.pull_loop`, :mod:`.reset_loop`,
:mod:`.veer_loop`), and a test compares both.  What a draw says of a test whatever the sum is worked out once
(:func:`prepare`); only the rest is worked out for each of many sums (:func:`log_given`).
"""

import math
from typing import Any, NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.interval_rows import BELOW, EXACT, STUDENT_T, inside_of
from holdcast.capacity.likelihood.pull_loop import row_if_slid
from holdcast.capacity.likelihood.pull_rows import drag_gain, ends_at_rest, jacobian_of
from holdcast.capacity.likelihood.reset_loop import chance_again, log_counts
from holdcast.capacity.likelihood.setting_rows import UNREAD, log_chances_of_word, next_shares, room_for

__all__ = ["Prepared", "log_given", "prepare", "room_to_prepare"]

Numbers = NDArray[np.float64]

_SMALL = 1e-200
"""Product of likelihoods below which its logarithm is taken before more is multiplied to it."""
_NOTHING = 1e-300
"""In place of 0 where a logarithm is taken."""

_inside = inside_of(STUDENT_T)


class Prepared(NamedTuple):
    """What one draw says of new tests whatever the sum of visit and spot; filled anew draw by draw.

    Attributes
    ----------
    low, high : (pull,), ends of the load of a pull that set, in scales above the cell's capacity.
    sets : (pull,), factor of the likelihood of its reading if it set: the word in the log and, of an exact
        load, the density's scale; 0 where it cannot have set.
    slides : (pull,), likelihood of its reading if it did not set.
    per_scale, chance, against : (spot,), 1 / scale of a pull's scatter; chances of setting and of not.
    concentration : (1,), how much alike the pulls of a spot set or not.
    again, needed : (reset,), chance of digging in again; load to be held, in scales above the capacity.
    turn_low, turn_high, turn_factor : (veer,), as of a pull that set.
    slopes, lattice : room that the likelihood's functions work in.
    """

    low: Numbers
    high: Numbers
    sets: Numbers
    slides: Numbers
    per_scale: Numbers
    chance: Numbers
    against: Numbers
    concentration: Numbers
    again: Numbers
    needed: Numbers
    turn_low: Numbers
    turn_high: Numbers
    turn_factor: Numbers
    lattice: Numbers


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def room_to_prepare(pulls: Any, resets: Any, veers: Any) -> Any:  # noqa: ANN401
    """Return room for what is worked out for one draw of these columns of tests."""
    spots, number, reset, veer = pulls[0].size, pulls[5].size, resets[0].size, veers[0].size
    most = 1 if spots == 0 else max(1, pulls[4].max())
    return Prepared(
        np.empty(number), np.empty(number), np.empty(number), np.empty(number),
        np.empty(spots), np.empty(spots), np.empty(spots), np.empty(1),
        np.empty(reset), np.empty(reset), np.empty(veer), np.empty(veer), np.empty(veer),
        room_for(most)[0],
    )  # fmt: skip


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def prepare(d: int, effects: Any, pulls: Any, resets: Any, veers: Any, prepared: Any) -> None:  # noqa: ANN401
    """Work out what draw d says of each test whatever the sum of visit and spot.

    Parameters
    ----------
    d : int
    effects : see :class:`holdcast.capacity.pointwise.new_tests.Effects`.
    pulls, resets, veers : columns of the likelihoods' loops.
    prepared : :class:`Prepared`
        Filled.
    """
    prepared.concentration[0] = effects.concentration[d]
    _prepare_pulls(d, effects, pulls, prepared)
    _prepare_resets(d, effects, resets, prepared)
    _prepare_veers(d, effects, veers, prepared)


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _prepare_pulls(d: int, effects: Any, columns: Any, prepared: Any) -> None:  # noqa: ANN401
    spot_anchor, spot_seabed, _, first, number, order = columns[:6]
    kind, setting, lower, upper, fall_lower, fall_upper, fall_slope, speed = columns[6:]
    fall, per_sliding = effects.fall[d], 1.0 / effects.sliding_scatter[d]
    for at in range(number.size):
        anchor, seabed = spot_anchor[at], spot_seabed[at]
        capacity, sliding = effects.capacity[d, anchor, seabed], effects.sliding[d, anchor]
        per_scale, odds = 1.0 / effects.scatter[d, seabed], effects.odds[d, anchor, seabed]
        prepared.per_scale[at] = per_scale
        prepared.chance[at], prepared.against[at] = (
            1.0 / (1.0 + math.exp(-odds)),
            1.0 / (1.0 + math.exp(odds)),
        )
        for k in range(first[at], first[at] + number[at]):
            i = order[k]
            word_if_set, word_if_slid = log_chances_of_word(setting[i], kind[i])
            falls = fall_lower[i], fall_upper[i], fall_slope[i]
            prepared.low[k], prepared.high[k], factor = _of_load(
                kind[i],
                lower[i],
                upper[i],
                falls,
                speed[i],
                (capacity, per_scale, fall, effects.rate[d, seabed]),
            )
            # Said not to have set, and no load to say otherwise: it cannot have set.
            prepared.sets[k] = 0.0 if kind[i] == UNREAD else factor * math.exp(word_if_set)
            prepared.slides[k] = math.exp(
                word_if_slid
                + row_if_slid(kind[i], setting[i], lower[i] - sliding, upper[i] - sliding, per_sliding)[0]
            )


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _of_load(
    kind: int,
    lower: float,
    upper: float,
    falls: tuple[float, float, float],
    speed: float,
    effects: tuple[float, float, float, float],
) -> tuple[float, float, float]:
    """Return both ends in scales above the capacity, and the scale of the density where they are one."""
    capacity, per_scale, fall, rate = effects
    low, high, _ = ends_at_rest(kind, lower, upper, falls[:2], fall, drag_gain(speed, rate)[0])
    factor = jacobian_of(falls[2], fall) * per_scale if kind == EXACT else 1.0
    return (low - capacity) * per_scale, (high - capacity) * per_scale, factor


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _prepare_resets(d: int, effects: Any, columns: Any, prepared: Any) -> None:  # noqa: ANN401
    anchors, seabeds = columns[1], columns[2]
    held, fall_held, reversal = columns[7:]
    for i in range(anchors.size):
        cell = d, anchors[i], seabeds[i]
        prepared.again[i] = chance_again(effects.odds[cell], effects.odds_again[cell], reversal[i])
        needed = held[i] + effects.fall[d] * fall_held[i] - effects.capacity[cell]
        prepared.needed[i] = needed / effects.scatter[d, seabeds[i]]


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _prepare_veers(d: int, effects: Any, columns: Any, prepared: Any) -> None:  # noqa: ANN401
    anchors, seabeds, kind, lower, upper = columns[1], columns[2], columns[4], columns[5], columns[6]
    fall_lower, fall_upper, fall_slope, speed, turn_lower, turn_upper = columns[7:]
    for i in range(kind.size):
        cell = d, anchors[i], seabeds[i]
        lost, per_scale = effects.turn[cell], 1.0 / effects.scatter[d, seabeds[i]]
        prepared.turn_low[i], prepared.turn_high[i], prepared.turn_factor[i] = _of_load(
            kind[i], lower[i] + lost * turn_lower[i], upper[i] + lost * turn_upper[i],
            (fall_lower[i], fall_upper[i], fall_slope[i]), speed[i],
            (effects.capacity[cell], per_scale, effects.fall[d], effects.rate[d, seabeds[i]]),
        )  # fmt: skip


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def log_given(
    at: int,
    totals: Numbers,
    spots: Any,  # noqa: ANN401
    pulls: Any,  # noqa: ANN401
    resets: Any,  # noqa: ANN401
    veers: Any,  # noqa: ANN401
    prepared: Any,  # noqa: ANN401
) -> None:
    """Put the log likelihood of a spot's new tests in place of each sum of visit and spot.

    Parameters
    ----------
    at : int
        The spot.
    totals : array, shape (sum,)
        Sums [log N]; on return the log likelihoods.
    spots : see :class:`holdcast.capacity.pointwise.new_tests.NewSpots`.
    pulls, resets, veers, prepared : as for :func:`prepare`.
    """
    shifts = totals * prepared.per_scale[at]
    _log_pulls(at, shifts, spots.earlier[at], pulls, prepared, totals)
    for i in range(spots.reset_spot.size):
        if spots.reset_spot[i] == at:
            _add_reset(
                shifts, (resets[4][i], resets[5][i]), resets[6][i] > 0, prepared.needed[i],
                (prepared.again[i], prepared.concentration[0]), totals,
            )  # fmt: skip
    for i in range(spots.veer_spot.size):
        if spots.veer_spot[i] == at:
            ends = prepared.turn_low[i], prepared.turn_high[i], prepared.turn_factor[i]
            _add_veer(shifts, veers[4][i], ends, totals)


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _log_pulls(
    at: int,
    shifts: Numbers,
    earlier: int,
    columns: Any,  # noqa: ANN401
    prepared: Any,  # noqa: ANN401
    values: Numbers,
) -> None:
    """Fill in the log likelihood of a spot's pulls, given those that stand first and are known."""
    first, number, order, kind = columns[3][at], columns[4][at], columns[5], columns[6]
    low, high, factor, slide, lattice = (
        prepared.low, prepared.high, prepared.sets, prepared.slides, prepared.lattice
    )  # fmt: skip
    chance, against, concentration = prepared.chance[at], prepared.against[at], prepared.concentration[0]
    some_slid = number > 0 and slide[first : first + number].max() > 0.0
    lattice[0, 0] = 1.0
    for place in range(shifts.size):
        value, product, shift = 0.0, 1.0, shifts[place]
        for i in range(number):
            k = first + i
            sets = factor[k]
            if sets > 0.0:
                sets *= _inside(low[k] - shift, high[k] - shift, kind[order[k]])
            if some_slid:
                here = next_shares(i, sets, slide[k], chance, against, concentration, lattice)
            else:  # every pull has set: the usual case
                here = sets * (chance * concentration + i) / (concentration + i)
            if i >= earlier:
                product *= max(here, _NOTHING)
            if product < _SMALL:
                value += math.log(product)
                product = 1.0
        values[place] = value + math.log(product)


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _add_reset(
    shifts: Numbers,
    counts: tuple[int, int],
    judged: bool,
    needed: float,
    chances: tuple[float, float],
    values: Numbers,
) -> None:
    """Add the log likelihood of a reset: attempts and successes, again with a chance and concentration."""
    again, concentration = chances
    for place in range(shifts.size):
        holds = _inside(0.0, shifts[place] - needed, BELOW) if judged else 1.0
        values[place] += log_counts(counts[0], counts[1], again * holds, concentration)[0]


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _add_veer(shifts: Numbers, kind: int, ends: tuple[float, float, float], values: Numbers) -> None:
    """Add the log likelihood of a veer: ends in scales above the capacity, and the scale of a density."""
    low, high, factor = ends
    for place in range(shifts.size):
        inside = _inside(low - shifts[place], high - shifts[place], kind)
        values[place] += math.log(max(factor * inside, _NOTHING))

"""The likelihood of tests that a fit has not seen, draw by draw, new visits integrated.

The tests of one spot (one anchor on one visit) share the sum of visit and spot.  Their likelihood given that
sum is the fit's, without its slopes (:mod:`holdcast.capacity.pointwise.spot_values`), on an even grid of
sums; the normals of spot and visit are then summed over the grid.  Such sums converge geometrically for
smooth functions (Trefethen & Weideman 2014, *SIAM Rev.* 56:385, value from memory).  Where a normal is
narrower than the grid's step, three points of the same variance stand for it.

On a visit that the fit knows, the visit's effect is that of the draw, and so is a known spot's.  The
likelihood there is that given the tests which the fit knows, since failing to set goes together.
"""

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any, NamedTuple

import numba
import numpy as np
from numba.core import event
from numpy.typing import NDArray

from holdcast.capacity.likelihood import (
    corrections,
    interval_rows,
    kinds,
    pull_loop,
    pull_rows,
    reset_loop,
    setting_rows,
    spot_grid,
    spot_rows,
)
from holdcast.capacity.pointwise import spot_values
from holdcast.capacity.pointwise.kernels import in_parts, key_of_sources
from holdcast.capacity.pointwise.spot_values import log_given, prepare, room_to_prepare
from holdcast.capacity.progress import Progress
from holdcast.physics.ground import rate

__all__ = ["Effects", "NewSpots", "new_log_likelihood", "told_of_compiling"]

Numbers = NDArray[np.float64]
Places = NDArray[np.int64]

_MOST_HALF = 200
"""Most steps of the grid to either side."""
_REACH = 3.7
"""Of the grid, in standard deviations of visit and spot each; 2e-4 of a normal lie beyond."""
_STEP = 0.75
"""Of the grid at most, in scales of a pull's scatter: a reading's likelihood is smooth on twice the scale."""
_STEP_OF_PEAK = 1.5
"""Of the grid at most, in standard deviations of what the tests of a spot or a visit together leave open: a
normal is then summed to 3e-4 (computed, 2 exp(-2 (π / 1.5)²))."""
_SHARPEST = 0.9
"""Standard deviation of the likelihood of one exact reading about its peak, in scales (computed: √(4/5))."""
_NOTHING = 1e-300
"""In place of 0 where a logarithm is taken."""
_NARROW = 0.6
"""Steps below which three points stand for a normal."""


class Effects(NamedTuple):
    """What a fit's draws say, arrays with the draws first, contiguous.

    Attributes
    ----------
    capacity, odds, odds_again, turn : (sample, anchor, seabed), see the likelihoods' loops.
    scatter, rate : (sample, seabed); sliding : (sample, anchor).
    fall, concentration, sliding_scatter, visit_spread, spot_spread : (sample,).
    visit, spot, shift : (sample, touched visit or spot): known effects, NaN where it is new; ``shift`` is
        what an instrument's error adds to a new spot [log N].
    """

    capacity: Numbers
    odds: Numbers
    odds_again: Numbers
    turn: Numbers
    scatter: Numbers
    rate: Numbers
    sliding: Numbers
    fall: Numbers
    concentration: Numbers
    sliding_scatter: Numbers
    visit_spread: Numbers
    spot_spread: Numbers
    visit: Numbers
    spot: Numbers
    shift: Numbers


class NewSpots(NamedTuple):
    """Spots with new tests, touched visit by touched visit.

    Attributes
    ----------
    visit_of : of each spot, rising.
    tests : how many tests each spot has.
    earlier : how many of a spot's pulls the fit knows; they stand first.
    reset_spot, veer_spot : spot of each new reset and veer.
    """

    visit_of: Places
    tests: Places
    earlier: Places
    reset_spot: Places
    veer_spot: Places


def new_log_likelihood(
    effects: Effects,
    spots: NewSpots,
    pulls: tuple[NDArray[Any], ...],
    resets: tuple[NDArray[Any], ...],
    veers: tuple[NDArray[Any], ...],
) -> Numbers:
    """Return the log likelihood of new tests for each draw, shape (sample,), up to a constant.

    Parameters
    ----------
    effects, spots
    pulls : arrays
        :data:`.pull_loop.PULL_COLUMNS` of the spots, earlier pulls of a spot first.
    resets, veers : arrays
        :data:`.reset_loop.RESET_COLUMNS`, :data:`.veer_loop.VEER_COLUMNS`; only the new ones.
    """
    kernel = _kernel(_sources())

    def part(draws: slice) -> Numbers:
        own = Effects(*(values[draws] for values in effects))
        return np.asarray(kernel(own, spots, pulls, resets, veers))

    return np.concatenate(in_parts(len(effects.capacity), part))


@contextmanager
def told_of_compiling(progress: Progress) -> Iterator[None]:
    """Say so before the likelihood of new tests is compiled; from the compiler's cache it comes at once."""

    class Told(event.Listener):  # type: ignore[misc]  # the library is untyped
        def on_start(self, event: Any) -> None:  # noqa: ANN401
            if event.data["dispatcher"] is _kernel(_sources()):
                progress("compiling the likelihood of new tests: about half a minute, this once")

        def on_end(self, event: Any) -> None:  # noqa: ANN401
            """Say nothing."""

    with event.install_listener("numba:compile", Told()):
        yield


def _sources() -> str:
    """Return a key of the code that the compiled loop holds."""
    likelihood = corrections, interval_rows, kinds, pull_loop, pull_rows, reset_loop, setting_rows
    return key_of_sources(*likelihood, spot_grid, spot_rows, rate, spot_values)


@numba.njit(error_model="numpy", cache=True)  # type: ignore[untyped-decorator]
def _weights(spread: float, step: float, half: int) -> Numbers:
    """Return weights of a normal at even steps, shape (2 half + 1,), summing to 1."""
    weights = np.zeros(2 * half + 1)
    if spread < _NARROW * step:
        aside = 0.5 * (spread / step) ** 2
        weights[half] = 1.0 - 2.0 * aside
        if half > 0:
            weights[half - 1] = aside
            weights[half + 1] = aside
        return weights
    for k in range(2 * half + 1):
        weights[k] = math.exp(-0.5 * ((k - half) * step / spread) ** 2)
    return weights / weights.sum()


@numba.njit(error_model="numpy", cache=True)  # type: ignore[untyped-decorator]
def _step(scatter: float, spot_spread: float, tests: Places) -> float:
    """Return a step on which all that is summed for one visit is smooth."""
    sharpest, precision = scatter, 0.0
    for number in tests:
        variance = (_SHARPEST * scatter) ** 2 / number
        sharpest = min(sharpest, math.sqrt(variance))
        precision += 1.0 / (variance + spot_spread**2)
    return min(_STEP * scatter, _STEP_OF_PEAK * min(sharpest, 1.0 / math.sqrt(precision)))


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _of_visit(
    places: tuple[int, int],
    step: float,
    circumstances: Any,  # noqa: ANN401
    spots: Any,  # noqa: ANN401
    tests: Any,  # noqa: ANN401
    prepared: Any,  # noqa: ANN401
) -> float:
    """Return the log likelihood of the new tests of one visit, given the places of its spots."""
    visit_effect, spot_effect, shift, visit_spread, spot_spread = circumstances
    visit_is_new = np.isnan(visit_effect)
    spread, middle = (visit_spread, 0.0) if visit_is_new else (0.0, visit_effect)
    half = math.ceil(_REACH * spread / step)
    half_spot = math.ceil(max(1.0, _REACH * spot_spread / step))
    over_visit = _weights(spread, step, half)
    over_spot = _weights(spot_spread, step, half_spot)
    total = np.log(np.maximum(over_visit, _NOTHING))
    grid, known = np.empty(2 * (half + half_spot) + 1), np.empty(1)
    for at in range(places[0], places[1]):
        if not np.isnan(spot_effect[at]):
            known[0] = middle + spot_effect[at]
            log_given(at, known, spots, *tests, prepared)
            total += known[0]
            continue
        for k in range(grid.size):
            grid[k] = middle + shift[at] + (k - half - half_spot) * step
        log_given(at, grid, spots, *tests, prepared)
        largest = grid.max()
        for k in range(grid.size):
            grid[k] = math.exp(grid[k] - largest)
        for j in range(total.size):
            inside = 0.0
            for m in range(over_spot.size):
                inside += over_spot[m] * grid[j + m]
            total[j] += math.log(max(inside, _NOTHING)) + largest
    largest = total.max()
    return float(largest + math.log(np.exp(total - largest).sum()))


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _of_draw(d: int, effects: Any, spots: Any, tests: Any, prepared: Any) -> float:  # noqa: ANN401
    """Return the log likelihood of all new tests for one draw, visit by visit."""
    prepare(d, effects, *tests, prepared)
    scatter, spot_spread = effects.scatter[d], effects.spot_spread[d]
    widest = max(effects.visit_spread[d], spot_spread)
    number = spots.visit_of.size
    value, first = 0.0, 0
    while first < number:
        visit, last = spots.visit_of[first], first + 1
        while last < number and spots.visit_of[last] == visit:
            last += 1
        step = _step(scatter[tests[0][1][first]], spot_spread, spots.tests[first:last])
        of_the_fit = effects.visit[d, visit], effects.spot[d], effects.shift[d]
        circumstances = (*of_the_fit, effects.visit_spread[d], spot_spread)
        wide = max(step, _REACH * widest / _MOST_HALF)
        value += _of_visit((first, last), wide, circumstances, spots, tests, prepared)
        first = last
    return float(value)


@cache
def _kernel(sources: str) -> Callable[..., Numbers]:
    """Return the compiled loop over draws; the key of its sources is part of it, and so of its cache."""

    @numba.njit(error_model="numpy", cache=True, nogil=True)  # type: ignore[untyped-decorator]
    def kernel(effects: Any, spots: Any, pulls: Any, resets: Any, veers: Any) -> Any:  # noqa: ANN401
        tests = (pulls, resets, veers)
        prepared = room_to_prepare(*tests)
        values = np.zeros(len(effects.capacity))
        for d in range(values.size):
            values[d] = _of_draw(d, effects, spots, tests, prepared)
        return values if len(sources) else np.zeros(0)

    compiled: Callable[..., Numbers] = kernel
    return compiled

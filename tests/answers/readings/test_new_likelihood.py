"""The likelihood of tests that a fit has not seen: against integrals by scipy, test by test."""

import itertools
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit, roots_hermitenorm

from holdcast.capacity.likelihood.kinds import ABOVE, BETWEEN, EXACT, NOT_SAID, SET
from holdcast.capacity.pointwise import new_tests
from holdcast.capacity.pointwise.new_tests import Effects, NewSpots, new_log_likelihood, told_of_compiling

CAPACITY, SCATTER, SLIDES, SLIDING_SCATTER = 7.0, 0.25, 5.0, 0.5
ODDS, AGAIN, CONCENTRATION, TURN = 0.8, -0.3, 4.0, 0.4
VISIT, SPOT = 0.3, 0.2
Totals = NDArray[np.float64]
NONE = np.zeros(0, dtype=np.int64)


def effects(visit: list[float], spot: list[float], **changed: float) -> Effects:
    """One draw of one anchor in one seabed; NaN stands for a visit or spot that is new."""
    here = {"visit_spread": VISIT, "spot_spread": SPOT, "scatter": SCATTER} | changed
    cell = lambda value: np.full((1, 1, 1), value)  # noqa: E731
    one = lambda value: np.array([float(value)])  # noqa: E731
    return Effects(
        cell(CAPACITY), cell(ODDS), cell(AGAIN), cell(TURN),
        np.array([[here["scatter"]]]), np.array([[0.1]]), np.array([[SLIDES]]),
        one(0.0), one(CONCENTRATION), one(SLIDING_SCATTER),
        one(here["visit_spread"]), one(here["spot_spread"]),
        np.array([visit]), np.array([spot]), np.zeros((1, len(spot))),
    )  # fmt: skip


def columns(*spots: list[tuple[int, int, float, float]]) -> tuple[NDArray[Any], ...]:
    """Pulls (kind, setting, lower, upper) of each spot."""
    rows = list(itertools.chain(*spots))
    number = np.array([len(spot) for spot in spots], dtype=np.int64)
    kind, setting, lower, upper = (np.array([row[place] for row in rows]) for place in range(4))
    zeros = np.zeros(len(spots), dtype=np.int64)
    none = np.zeros(len(rows))
    return (
        zeros, zeros, zeros, np.cumsum(number) - number, number, np.arange(len(rows)),
        kind.astype(np.int64), setting.astype(np.int64), lower.astype(float), upper.astype(float),
        none, none, none, none,
    )  # fmt: skip


def resets(*rows: tuple[int, int, int, float]) -> tuple[NDArray[Any], ...]:
    """Resets (spot, attempts, successes, log load to be held) after a reversal of 180 degrees."""
    spot, attempts, successes, held = (np.array(column) for column in zip(*rows, strict=True)) if rows else (
        NONE, NONE, NONE, np.zeros(0),
    )  # fmt: skip
    zeros, number = np.zeros(len(rows), dtype=np.int64), np.zeros(len(rows))
    return (
        spot, zeros, zeros, zeros, attempts, successes,
        np.ones(len(rows), dtype=np.int64), held.astype(float), number, number + 1.0,
    )  # fmt: skip


def veers(*rows: tuple[int, float]) -> tuple[NDArray[Any], ...]:
    """Turns of 180 degrees that were held (spot, log load)."""
    spot, held = (np.array(column) for column in zip(*rows, strict=True)) if rows else (NONE, np.zeros(0))
    zeros, number = np.zeros(len(rows), dtype=np.int64), np.zeros(len(rows))
    return (
        spot, zeros, zeros, zeros, np.full(len(rows), ABOVE, dtype=np.int64), held.astype(float),
        held.astype(float), number, number, number, number, number + 2.0, number + 2.0,
    )  # fmt: skip


def likelihood(
    of: Effects, pulls: Any, *, earlier: list[int] | None = None, reset: Any = (), veer: Any = ()
) -> float:
    number = of.spot.shape[1]
    visit_of = np.zeros(number, dtype=np.int64)
    tests = pulls[4].copy()
    for row in (*reset, *veer):
        tests[row[0]] += 1
    spots = NewSpots(
        visit_of, tests, np.array(earlier or [0] * number, dtype=np.int64),
        np.array([row[0] for row in reset], dtype=np.int64),
        np.array([row[0] for row in veer], dtype=np.int64),
    )  # fmt: skip
    return float(np.exp(new_log_likelihood(of, spots, pulls, resets(*reset), veers(*veer))[0]))


def pull_given(total: Totals, row: tuple[int, int, float, float]) -> tuple[Totals, float]:
    """Return the likelihood of a reading if its anchor set and if not; witness: scipy's t and normal."""
    kind, _, lower, upper = row
    slid = stats.norm(SLIDES, SLIDING_SCATTER)
    low, high = ((end - CAPACITY - total) / SCATTER for end in (lower, upper))
    if kind == EXACT:
        return stats.t.pdf(high, 4) / SCATTER, slid.pdf(upper)
    if kind == ABOVE:
        return stats.t.sf(low, 4), 0.0
    return stats.t.cdf(high, 4) - stats.t.cdf(low, 4), slid.cdf(upper) - slid.cdf(lower)


def spot_given(total: Totals, rows: list[tuple[int, int, float, float]]) -> Totals:
    """Return the likelihood of a spot's pulls: all ways in which they set or not, by Pólya's urn."""
    chance, value = expit(ODDS), np.zeros_like(total)
    readings = [pull_given(total, row) for row in rows]
    for ways in itertools.product((True, False), repeat=len(rows)):
        weight, had_set = np.ones_like(total), 0
        for place, (sets, row) in enumerate(zip(ways, rows, strict=True)):
            mean = chance if sets else 1.0 - chance
            alike = had_set if sets else place - had_set
            weight = weight * (mean * CONCENTRATION + alike) / (CONCENTRATION + place)
            weight = weight * readings[place][0 if sets else 1]
            if row[1] == SET and row[0] != ABOVE:  # one word in fifty is a slip of the pen
                weight = weight * (0.98 if sets else 0.02)
            had_set += sets
        value = value + weight
    return value


def over(spread: float, function: Callable[[Totals], Totals]) -> Totals:
    """Return the mean of a function under a normal, by 80 nodes on its last axis."""
    nodes, weights = roots_hermitenorm(80)
    return function(spread * nodes) @ (weights / weights.sum())


LOW = (EXACT, NOT_SAID, 6.3, 6.3)
BETWEEN_TWO = (BETWEEN, NOT_SAID, 6.9, 7.0)
SLID = (BETWEEN, NOT_SAID, 4.8, 5.1)
HELD = (ABOVE, SET, 7.4, 7.4)
NEW = [float("nan")]


@pytest.mark.parametrize("row", [LOW, BETWEEN_TWO, SLID, HELD])
@pytest.mark.parametrize("spread", [(0.3, 0.2), (0.02, 0.01), (0.9, 0.05)])
def test_one_pull_on_a_new_visit(row, spread) -> None:
    visit, spot = spread
    total, step = np.linspace(-5.0, 5.0, 40_001, retstep=True)
    both = stats.norm.pdf(total, 0, np.hypot(visit, spot))
    expected = (both * spot_given(total, [row])).sum() * step
    of = effects(NEW, NEW, visit_spread=visit, spot_spread=spot)
    assert likelihood(of, columns([row])) == pytest.approx(expected, rel=1e-3)


def test_pulls_of_one_visit_share_it_and_pulls_of_one_spot_share_more() -> None:
    spots = [[LOW, BETWEEN_TWO], [SLID, BETWEEN_TWO, HELD], [LOW]]

    def given(visit: Totals) -> Totals:
        return np.prod(
            [over(SPOT, lambda spot, rows=rows: spot_given(visit[:, None] + spot, rows)) for rows in spots],
            axis=0,
        )

    expected = over(VISIT, given)
    assert likelihood(effects(NEW, NEW * 3), columns(*spots)) == pytest.approx(expected, rel=1e-3)


def test_many_pulls_that_fix_their_visit() -> None:
    """Twenty exact loads of one spot leave little of the visit open."""
    rows = [(EXACT, SET, 7.6 + 0.01 * place, 7.6 + 0.01 * place) for place in range(20)]

    total, step = np.linspace(-2.0, 2.0, 20_001, retstep=True)
    both = stats.norm.pdf(total, 0, np.hypot(VISIT, SPOT))
    chance = expit(ODDS)
    for place, row in enumerate(rows):
        both = both * (chance * CONCENTRATION + place) / (CONCENTRATION + place) * pull_given(total, row)[0]
        both = both * 0.98  # that it set, as it did
    assert likelihood(effects(NEW, NEW), columns(rows)) == pytest.approx(both.sum() * step, rel=2e-3)


def test_a_known_visit_is_not_integrated_and_a_known_spot_is_the_draws() -> None:
    expected = over(SPOT, lambda spot: spot_given(0.15 + spot, [LOW]))
    assert likelihood(effects([0.15], NEW), columns([LOW])) == pytest.approx(expected, rel=1e-3)
    known = likelihood(effects([0.15], [-0.1]), columns([BETWEEN_TWO]))
    assert known == pytest.approx(float(spot_given(np.array(0.05), [BETWEEN_TWO])), rel=1e-9)


def test_earlier_failures_on_a_spot_count() -> None:
    """An anchor that slid there slides again more often: the likelihood is that given the earlier pull."""
    both, first = (float(spot_given(np.array(0.05), [SLID] * number)) for number in (2, 1))
    found = likelihood(effects([0.15], [-0.1]), columns([SLID, SLID]), earlier=[1])
    assert found == pytest.approx(both / first, rel=1e-9)
    assert found > first


def test_a_reset_and_a_veer_share_the_spot_with_its_pulls() -> None:
    """Up to the reset's binomial coefficient, which no draw moves."""

    def given(total: Totals) -> Totals:
        holds = stats.t.sf((6.8 - CAPACITY - total) / SCATTER, 4)
        chance = expit(AGAIN) * holds
        counted = stats.betabinom.pmf(2, 3, chance * CONCENTRATION, (1.0 - chance) * CONCENTRATION) / 3.0
        turned = stats.t.sf((6.0 + 2.0 * TURN - CAPACITY - total) / SCATTER, 4)
        return spot_given(total, [LOW]) * counted * turned

    expected = over(np.hypot(VISIT, SPOT), given)
    found = likelihood(effects(NEW, NEW), columns([LOW]), reset=[(0, 3, 2, 6.8)], veer=[(0, 6.0)])
    assert found == pytest.approx(expected, rel=1e-3)


def test_compiling_is_told_once_and_only_of_this_likelihood(monkeypatch: pytest.MonkeyPatch) -> None:
    kernel, other = (numba.njit(lambda number, more=more: number + more) for more in (1, 2))
    monkeypatch.setattr(new_tests, "_kernel", lambda sources: kernel)
    lines: list[str] = []
    with told_of_compiling(lines.append):
        other(1)
        assert lines == []
        kernel(1)
        assert [line for line in lines if "compiling" in line and "half a minute" in line] == lines
        kernel(2)
    kernel(1.5)
    assert len(lines) == 1

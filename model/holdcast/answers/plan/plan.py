"""The plan of a day: which anchors to pull in which seabeds, how often, and what that should narrow."""

from collections.abc import Sequence

import numpy as np

from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.features.pairs import Pair, find_pairs
from holdcast.answers.plan.hours import Hours, HoursGiven, hours_of
from holdcast.answers.plan.knowledge import know, left_of
from holdcast.answers.plan.open_questions import Goal, doubts_of
from holdcast.answers.plan.planned import Plan, PlannedTests
from holdcast.answers.plan.readings import limit_n, new_readings
from holdcast.answers.plan.reasons import grounds_of, reason
from holdcast.answers.plan.search import Day, Problem, best_day, hours_needed, left_after
from holdcast.capacity.fitting import Fit

__all__ = ["day_problem", "plan", "shares_of"]

_ORDERS = 12
"""Orders of a day's tests, and as many turned round, over which each test's part is averaged."""


def plan(
    fit: Fit,
    hours: float,
    goal: Goal | None = None,
    *,
    aboard: Sequence[str] = (),
    without: Sequence[str] = (),
    carry: int | None = None,
    hours_given: HoursGiven | None = None,
) -> Plan:
    """Return the tests of one day that are expected to narrow most.

    Parameters
    ----------
    fit : Fit
    hours : float
        Hours that there are [h], above 0.
    goal : Goal, optional
        What counts; the bands of all cells by default.
    aboard : sequence of str
        Anchors that can be tested; all by default.
    without : sequence of str
        Seabeds that cannot be visited.
    carry : int, optional
        How many anchors can be carried in all; no limit by default.
    hours_given : HoursGiven, optional
        Hours that the log does not say, or that differ this time.

    Returns
    -------
    Plan
        Without rows where no test narrows anything.

    Raises
    ------
    KeyError
        When a label is not known.
    ValueError
        When hours are missing in the log or too few for any test, or nothing is left to test or to narrow.
    """
    goal = goal or Goal()
    problem = day_problem(
        fit, hours, goal, aboard=aboard, without=without, carry=carry, hours_given=hours_given
    )
    day, draws, doubts = best_day(problem), draws_of(fit), problem.doubts
    grounds = grounds_of(draws, problem.knowledge, doubts, find_pairs(fit), goal.aim)
    names = {cell: _name(draws, cell) for cell in day}
    reasons = {cell: reason(grounds, *names[cell], list(names.values())) for cell in day}
    return Plan(
        _rows(problem, day, names, reasons),
        goal.aim,
        hours_needed(problem, day),
        hours,
        left_after(problem, {}),
        left_after(problem, day),
        len(doubts.weight),
        limit_n(draws),
        *(doubts.told_apart(left_of(problem.knowledge, tests)) for tests in ({}, day)),
    )


def day_problem(
    fit: Fit,
    hours: float,
    goal: Goal,
    *,
    aboard: Sequence[str] = (),
    without: Sequence[str] = (),
    carry: int | None = None,
    hours_given: HoursGiven | None = None,
) -> Problem:
    """Return what a day may hold and what it is for, as :func:`plan` sees it; it raises the same."""
    draws = draws_of(fit)
    doubts = doubts_of(fit, goal)
    cells = _cells(draws, aboard, without, carry)
    seabeds = draws.labels("seabed")
    visited = [seabed for at, seabed in enumerate(seabeds) if any(c % len(seabeds) == at for c in cells)]
    times = hours_of(draws, visited, hours_given or {})
    _enough(hours, times, visited, seabeds)
    return Problem(
        know(draws, new_readings(draws), doubts),
        doubts,
        times,
        hours,
        len(seabeds),
        tuple(cells),
        len(draws.labels("anchor")) if carry is None else carry,
        _together(draws, find_pairs(fit), cells) if goal.aim == "features" else (),
    )


def _name(draws: Draws, cell: int) -> tuple[str, str]:
    anchor, seabed = divmod(cell, len(draws.labels("seabed")))
    return draws.labels("anchor")[anchor], draws.labels("seabed")[seabed]


def _cells(draws: Draws, aboard: Sequence[str], without: Sequence[str], carry: int | None) -> list[int]:
    """Return the cells that may be tested."""
    if carry is not None and carry < 1:
        raise ValueError(f"at least one anchor must be carried, got {carry}")
    anchors, left_out = draws.labels("anchor", list(aboard)), set(draws.labels("seabed", list(without)))
    seabeds = draws.labels("seabed")
    cells = [
        at * len(seabeds) + place
        for at, anchor in enumerate(draws.labels("anchor"))
        for place, seabed in enumerate(seabeds)
        if (not aboard or anchor in anchors) and seabed not in left_out
    ]
    if not cells:
        raise ValueError("every seabed is left out, so nothing is left to test")
    return cells


def _enough(hours: float, times: Hours, visited: Sequence[str], seabeds: Sequence[str]) -> None:
    """Refuse hours that are too few for any test.

    Raises
    ------
    ValueError
        With the shortest test and what it takes.
    """
    if not 0.0 < hours < np.inf:
        raise ValueError(f"the hours of a day must be a number above 0, got {hours:g}")
    places = [seabeds.index(seabed) for seabed in visited]
    needed = (times.travel + times.setup + times.pull)[places]
    at = places[int(np.argmin(needed))]
    if needed.min() > hours + 1e-9:
        parts = f"travel {times.travel[at]:g}, setting up {times.setup[at]:g}, one pull {times.pull[at]:g}"
        raise ValueError(
            f"{hours:g} h are too few for any test: the shortest, one pull in {seabeds[at]!r}, takes "
            f"{needed.min():g} h ({parts})"
        )


def _together(draws: Draws, pairs: Sequence[Pair], cells: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Return the cells of paired configurations, both in one seabed."""
    number, may = len(draws.labels("seabed")), set(cells)
    place = {anchor: at for at, anchor in enumerate(draws.labels("anchor"))}
    both = (
        (place[pair.with_it] * number + seabed, place[pair.without] * number + seabed)
        for pair in pairs
        for seabed in range(number)
    )
    return tuple(each for each in both if set(each) <= may)


def _rows(
    problem: Problem, day: Day, names: dict[int, tuple[str, str]], reasons: dict[int, str]
) -> tuple[PlannedTests, ...]:
    """Return the tests in order of travel.

    The visit that narrows most for an hour comes first, and on it the anchor that does: a day that is cut
    short has then done the most.  The log does not say how far one seabed is from the next.
    """
    shares, times = shares_of(problem, day), problem.hours
    tests: dict[int, list[int]] = {}
    for cell in day:
        tests.setdefault(cell % problem.seabeds, []).append(cell)
    own = {
        cell: float(times.setup[cell % problem.seabeds] + pulls * times.pull[cell % problem.seabeds])
        for cell, pulls in day.items()
    }
    worth = {
        seabed: sum(shares[cell] for cell in there)
        / (times.travel[seabed] + sum(own[cell] for cell in there))
        for seabed, there in tests.items()
    }
    rows: list[PlannedTests] = []
    for seabed in sorted(tests, key=lambda place: -worth[place]):
        travel = float(times.travel[seabed])
        for cell in sorted(tests[seabed], key=lambda each: -shares[each] / max(own[each], 1e-9)):
            anchor, place = names[cell]
            hours = own[cell] + travel
            order = len(rows) + 1
            rows.append(PlannedTests(order, place, anchor, day[cell], hours, shares[cell], reasons[cell]))
            travel = 0.0
    return tuple(rows)


def shares_of(problem: Problem, day: Day) -> dict[int, float]:
    """Return the share of what is in doubt now that each test takes away [1]; together what the day does.

    Tests overlap in what they tell, so each counts by what it adds to those before it, averaged over orders
    (Shapley 1953, *Contributions to the Theory of Games II*:307, value from memory; here over 24 orders).
    """
    cells, random = list(day), np.random.default_rng(0)
    before = left_after(problem, {})
    added = dict.fromkeys(cells, 0.0)
    if not cells or before <= 0.0:
        return added
    for _ in range(_ORDERS):
        order = [cells[at] for at in random.permutation(len(cells))]
        for each in (order, order[::-1]):
            last, so_far = before, {}
            for cell in each:
                so_far[cell] = day[cell]
                now = left_after(problem, so_far)
                added[cell] += (last - now) / (2 * _ORDERS * before)
                last = now
    return added

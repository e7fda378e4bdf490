"""The tests that fit into a day: the set of seabeds first, then anchors and pulls, most worth an hour first.

For one set of seabeds the travel is spent, and tests are added one after the other, each the one that takes
most away for an hour of its own.  Sets grow, shrink and swap while that helps.  Then single tests of the best
day are taken out or made shorter, and the hours filled anew, while that helps.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from holdcast.answers.plan.day_so_far import DaySoFar, leftovers
from holdcast.answers.plan.hours import Hours
from holdcast.answers.plan.knowledge import Knowledge, left_of
from holdcast.answers.plan.open_questions import Doubts
from holdcast.answers.plan.readings import MOST_PULLS

__all__ = ["Day", "Problem", "best_day", "hours_needed", "left_after"]

_AT_ONCE = (1, 2, 3)
"""So many pulls a test may begin with."""
_ENOUGH = 12
"""Cells of a seabed that the search looks at: those that tell most alone (a choice)."""
_LEAST_GAIN = 1e-7
"""Share of what is in doubt; the search's tables are no finer."""
_SLACK = 1e-9
"""Hours that rounding may take."""

type Day = dict[int, int]
"""Pulls by cell: an anchor's place times the number of seabeds, and a seabed's place."""


@dataclass(frozen=True)
class Problem:
    """What a day may hold and what it is for.

    Attributes
    ----------
    knowledge : Knowledge
    doubts : Doubts
    hours : Hours
    budget : hours that there are [h].
    seabeds : number of seabeds of the fit.
    cells : cells that may be tested.
    carried : how many anchors can be carried in all.
    together : cells that tell most in one go: two configurations of a design in one seabed.
    """

    knowledge: Knowledge
    doubts: Doubts
    hours: Hours
    budget: float
    seabeds: int
    cells: tuple[int, ...]
    carried: int
    together: tuple[tuple[int, int], ...] = ()


def hours_needed(problem: Problem, day: Day) -> float:
    """Return the hours of a day: travel once a visit, setting up once an anchor on it, and each pull."""
    travel = sum(problem.hours.travel[seabed] for seabed in {cell % problem.seabeds for cell in day})
    return float(travel + sum(_hours_there(problem, cell, pulls) for cell, pulls in day.items()))


def _hours_there(problem: Problem, cell: int, pulls: int) -> float:
    seabed = cell % problem.seabeds
    return float(problem.hours.setup[seabed] + pulls * problem.hours.pull[seabed])


def left_after(problem: Problem, day: Day) -> float:
    """Return what is expected to be in doubt after a day."""
    return problem.doubts.left(left_of(problem.knowledge, day))


def best_day(problem: Problem) -> Day:
    """Return the tests that leave least in doubt, as far as the search sees; empty when none fits."""
    search = _Search(_screened(problem))
    return search.polished(*search.best_visits())


def _screened(problem: Problem) -> Problem:
    """Return the problem with the cells of each seabed that tell most alone, and those of pairs."""
    cells = np.array(problem.cells, dtype=int)
    if not len(cells):
        return problem
    start = DaySoFar(problem.knowledge, leftovers(problem.doubts), cells)
    gain = start.left() - start.left_after(np.arange(len(cells)), _AT_ONCE[-1])
    anchors, seabeds = np.divmod(cells, problem.seabeds)
    candidates = {cell for pair in problem.together for cell in pair} & set(problem.cells)
    for seabed in set(seabeds.tolist()):
        here = np.flatnonzero(seabeds == seabed)
        candidates |= set(cells[here[np.argsort(-gain[here], kind="stable")[:_ENOUGH]]].tolist())
    # Few anchors must do in every seabed: then those that tell most everywhere count too.
    if problem.carried < _ENOUGH:
        everywhere = np.bincount(anchors, gain)
        candidates |= set(cells[np.isin(anchors, np.argsort(-everywhere)[:_ENOUGH])].tolist())
    return replace(problem, cells=tuple(sorted(candidates)))


class _Search:
    """The search through the days of one problem."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.leftovers = leftovers(problem.doubts)
        self.least_gain = _LEAST_GAIN * max(left_after(problem, {}), _LEAST_GAIN)

    def best_visits(self) -> tuple[frozenset[int], Day, float]:
        """Return a set of seabeds that no single change of the set betters, its day and what it leaves."""
        places = {cell % self.problem.seabeds for cell in self.problem.cells}
        best: tuple[frozenset[int], Day, float] = (frozenset(), {}, left_after(self.problem, {}))
        seen = {best[0]}
        while True:
            better = best
            for visits in _neighbours(best[0], places):
                if visits in seen:
                    continue
                seen.add(visits)
                day = self.filled(visits, {})
                doubt = left_after(self.problem, day)
                if doubt < better[2] - self.least_gain:
                    better = (visits, day, doubt)
            if better is best:
                return best
            best = better

    def polished(self, visits: frozenset[int], day: Day, least: float) -> Day:
        """Return the day after every change of one test, the hours filled anew, that leaves less."""
        tried: set[frozenset[tuple[int, int]]] = set()
        while True:
            better = day
            for cell in sorted(day):
                for fewer in range(day[cell]):
                    base = {**{key: pulls for key, pulls in day.items() if key != cell}}
                    base |= {cell: fewer} if fewer else {}
                    if frozenset(base.items()) in tried:
                        continue
                    tried.add(frozenset(base.items()))
                    changed = self.filled(visits, base, without=cell)
                    doubt = left_after(self.problem, changed)
                    if doubt < least - self.least_gain:
                        better, least = changed, doubt
            if better is day:
                return day
            day = better

    def filled(self, visits: frozenset[int], base: Day, without: int | None = None) -> Day:
        """Return the day with tests added while hours are left, the most worth an hour first.

        Parameters
        ----------
        visits : frozenset of int
            Seabeds to which the day goes; their travel is spent.
        base : Day
            Tests that stand.
        without : int, optional
            Cell that gets no more pulls.
        """
        problem = self.problem
        room = problem.budget - float(sum(problem.hours.travel[seabed] for seabed in visits))
        room -= sum(_hours_there(problem, *row) for row in base.items())
        cells = np.array([cell for cell in problem.cells if cell % problem.seabeds in visits], dtype=int)
        if room < -_SLACK or not len(cells):
            return dict(base) if room >= -_SLACK else {}
        filling = _Filling(problem, cells, DaySoFar(problem.knowledge, self.leftovers, cells), without)
        for cell, pulls in base.items():
            filling.take([(filling.place[cell], pulls)])
        filling.room = room
        while filling.step():
            pass
        return {int(cell): int(pulls) for cell, pulls in zip(cells, filling.pulls, strict=True) if pulls}


def _neighbours(visits: frozenset[int], places: Iterable[int]) -> Iterable[frozenset[int]]:
    for place in sorted(places):
        yield visits ^ {place}
        if place not in visits:
            for leave in sorted(visits):
                yield (visits - {leave}) | {place}


class _Filling:
    """One day being filled."""

    def __init__(
        self, problem: Problem, cells: NDArray[np.int64], so_far: DaySoFar, without: int | None
    ) -> None:
        self.so_far, self.carried, self.room = so_far, problem.carried, 0.0
        self.anchor, seabed = np.divmod(cells, problem.seabeds)
        self.setup, self.pull = problem.hours.setup[seabed], problem.hours.pull[seabed]
        self.pulls = np.zeros(len(cells), dtype=int)
        self.open = cells != (-1 if without is None else without)
        self.place = {int(cell): at for at, cell in enumerate(cells)}
        inside = [pair for pair in problem.together if set(pair) <= set(self.place)]
        pairs = [[self.place[one], self.place[other]] for one, other in inside]
        self.together = np.array(pairs, dtype=int).reshape(-1, 2)

    def take(self, tests: Iterable[tuple[int, int]]) -> None:
        """Add pulls at places."""
        for at, pulls in tests:
            self.room -= self._cost(at, pulls)
            self.so_far.see(at, pulls)
            self.pulls[at] += pulls

    def step(self) -> bool:
        """Add the test, or the two in one go, that take most away for an hour; False when none helps."""
        now = self.so_far.left()
        aboard = set(self.anchor[self.pulls > 0].tolist())
        room_aboard = self.carried - len(aboard)
        welcome = self.open & (np.isin(self.anchor, list(aboard)) | (room_aboard > 0))
        most, best = _LEAST_GAIN * now, [(-1, 0)]
        for pulls in _AT_ONCE:
            cost = self.pull * pulls + np.where(self.pulls > 0, 0.0, self.setup)
            fits = welcome & (self.pulls + pulls <= MOST_PULLS) & ((self.pulls == 0) | (pulls == 1))
            at = np.flatnonzero(fits & (cost <= self.room + _SLACK))
            if len(at):
                worth = (now - self.so_far.left_after(at, pulls)) / np.maximum(cost[at], _SLACK)
                first = int(np.argmax(worth))
                if worth[first] > most:
                    most, best = float(worth[first]), [(int(at[first]), pulls)]
            both = cost[self.together].sum(axis=1)
            new = fits[self.together].all(axis=1) & (self.pulls[self.together] == 0).all(axis=1)
            if room_aboard < 2:  # then one of the two must be aboard already, or both
                new &= np.isin(self.anchor[self.together], list(aboard)).sum(axis=1) >= 2 - room_aboard
            pairs = self.together[new & (both <= self.room + _SLACK)]
            if len(pairs):
                hours = np.maximum(cost[pairs].sum(axis=1), _SLACK)
                worth = (now - self.so_far.left_after_both(pairs, pulls)) / hours
                first = int(np.argmax(worth))
                if worth[first] > most:
                    most, best = float(worth[first]), [(int(place), pulls) for place in pairs[first]]
        if best[0][0] < 0:
            return False
        self.take(best)
        return True

    def _cost(self, at: int, pulls: int) -> float:
        return float(pulls * self.pull[at] + (0.0 if self.pulls[at] else self.setup[at]))

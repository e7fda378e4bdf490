"""The search for a day, against every day there is on small campaigns."""

import itertools
import time
from dataclasses import replace

import numpy as np
import pytest
from day_fits import day_fit

from holdcast.answers.plan.open_questions import Goal
from holdcast.answers.plan.plan import day_problem, plan, shares_of
from holdcast.answers.plan.readings import MOST_PULLS
from holdcast.answers.plan.search import Problem, best_day, hours_needed, left_after

ROWS = [("A0", "s0", "v1", 3000.0, 3100.0), ("A1", "s0", "v1", 1500.0, np.inf)]


def least_of_all(problem: Problem, most: int) -> float:
    """What the best of all days leaves, every cell pulled up to so many times."""
    least = left_after(problem, {})
    for pulls in itertools.product(range(most + 1), repeat=len(problem.cells)):
        day = {cell: number for cell, number in zip(problem.cells, pulls, strict=True) if number}
        aboard = {cell // problem.seabeds for cell in day}
        if day and len(aboard) <= problem.carried and hours_needed(problem, day) <= problem.budget + 1e-9:
            least = min(least, left_after(problem, day))
    return least


@pytest.mark.parametrize("aim", ["cells", "ranking", "features"])
@pytest.mark.parametrize("seed", range(4))
def test_no_day_is_much_better_than_the_one_found(aim: str, seed: int) -> None:
    """Of what the best of all days takes away, at least 97% on each small campaign."""
    hours = {"travel_h": [0.3, 1.0], "setup_h": [0.5, 0.25], "pull_h": [0.25, 0.4]}
    fit = day_fit(3, 2, seed=seed, rows=ROWS, **hours)
    problem = day_problem(fit, 3.2, Goal(aim))
    now, least = left_after(problem, {}), least_of_all(problem, 3)
    day = best_day(problem)
    assert hours_needed(problem, day) <= 3.2 + 1e-9
    assert now - left_after(problem, day) >= 0.97 * (now - least)


@pytest.mark.parametrize("carry", [1, 2])
def test_few_anchors_carried(carry: int) -> None:
    fit = day_fit(3, 2, seed=9)
    problem = day_problem(fit, 5.0, Goal(), carry=carry)
    day = best_day(problem)
    assert 1 <= len({cell // 2 for cell in day}) <= carry
    now, least = left_after(problem, {}), least_of_all(problem, 3)
    assert now - left_after(problem, day) >= 0.9 * (now - least)


def test_more_hours_never_leave_more() -> None:
    fit = day_fit(8, 4)
    left = [left_after(p, best_day(p)) for p in (day_problem(fit, hours, Goal()) for hours in (2, 4, 8, 16))]
    assert left == sorted(left, reverse=True) and left[0] > left[-1]


def test_free_pulls_come_to_an_end() -> None:
    fit = day_fit(3, 2, travel_h=[0.0, 0.0], setup_h=[0.0, 0.0], pull_h=[0.0, 0.0])
    day = best_day(day_problem(fit, 1.0, Goal()))
    assert max(day.values()) == MOST_PULLS


def test_parts_of_a_day_add_up_to_the_whole() -> None:
    problem = day_problem(day_fit(6, 3), 8.0, Goal())
    day = best_day(problem)
    parts = shares_of(problem, day)
    assert sum(parts.values()) == pytest.approx(1.0 - left_after(problem, day) / left_after(problem, {}))
    assert min(parts.values()) > 0.0


def test_the_far_seabed_waits_until_its_travel_pays() -> None:
    fit = day_fit(4, 2, travel_h=[0.2, 6.0])
    short, long = (best_day(day_problem(fit, hours, Goal())) for hours in (7.0, 40.0))
    assert {cell % 2 for cell in short} == {0}
    assert {cell % 2 for cell in long} == {0, 1}


def test_dearer_setting_up_means_fewer_anchors_and_more_pulls_each() -> None:
    cheap, dear = (
        plan(day_fit(6, 1, setup_h=[setup], travel_h=[0.0], rows=[("A0", "s0", "v1", 1e6, 1.1e6)]), 6.0).rows
        for setup in (0.05, 1.0)
    )
    assert len({row.anchor for row in cheap}) > len({row.anchor for row in dear})
    assert np.mean([row.pulls for row in cheap]) < np.mean([row.pulls for row in dear]) + 3


@pytest.mark.parametrize("aim", ["cells", "ranking", "features"])
def test_a_large_campaign_is_planned_in_five_seconds(aim: str) -> None:
    """60 anchors, 8 seabeds, 4,000 draws: of the processor's time, since other work may run beside it."""
    fit = day_fit(60, 8, 4000)
    plan(day_fit(3, 2), 4.0, Goal(aim))  # compiled code is read once
    start = time.process_time()
    made = plan(fit, 8.0, Goal(aim))
    assert time.process_time() - start < 5.0
    assert made.rows and made.narrows > 0.0


def test_only_the_cells_at_hand_are_planned() -> None:
    problem = day_problem(day_fit(6, 3), 8.0, Goal(), aboard=["A1", "A4"], without=["s1"])
    assert {divmod(cell, 3) for cell in problem.cells} == {(1, 0), (1, 2), (4, 0), (4, 2)}
    assert set(best_day(replace(problem, budget=4.0))) <= set(problem.cells)

"""Variances after pulls, against least squares on simulated readings; pairs in the wrong order."""

import numpy as np
import pytest
from day_fits import SCATTER, SPOT, VISIT, day_fit
from scipy import stats

from holdcast.answers.draws.draws import draws_of
from holdcast.answers.plan.day_so_far import DaySoFar, leftovers
from holdcast.answers.plan.knowledge import draws_worth, know, left_of, variance_after
from holdcast.answers.plan.open_questions import Goal, doubts_of, wrong_orders
from holdcast.answers.plan.readings import new_readings

HIGH = [("A0", "s0", "v1", 1e6, 1.1e6)]
"""A boat that no anchor here stops."""
PULLS = {0: 3, 4: 1, 5: 2}
"""By cell of 4 anchors and 3 seabeds: A0 in s0, A1 in s1, A1 in s2."""


def test_variance_after_pulls_is_what_least_squares_leaves() -> None:
    """Readings are simulated and regressed on (computed; the simulation shares nothing with the formula)."""
    fit = day_fit(draws=60_000, rows=HIGH)
    draws = draws_of(fit)
    knowledge = know(draws, new_readings(draws), doubts_of(fit, Goal()))
    random = np.random.default_rng(5)
    cells = draws["log_capacity"].reshape(draws.samples, -1)
    visits = VISIT * random.standard_normal((draws.samples, 3))
    noise = SCATTER * np.sqrt(7.0 / 5.0)  # a normal as informative as the t of the model
    readings = [
        cells[:, cell]
        + visits[:, cell % 3]
        + SPOT * random.standard_normal(draws.samples)
        + noise / np.sqrt(pulls) * random.standard_normal(draws.samples)
        for cell, pulls in PULLS.items()
    ]
    told = np.column_stack([np.ones(draws.samples), *readings])
    left = cells - told @ np.linalg.lstsq(told, cells, rcond=None)[0]
    assert variance_after(knowledge, PULLS) == pytest.approx(left.var(axis=0), rel=0.03)


def test_anchors_of_one_visit_share_what_the_visit_does() -> None:
    """Two anchors pulled on one visit fix their difference better than their levels."""
    fit = day_fit(draws=4000, rows=HIGH)
    draws = draws_of(fit)
    readings = new_readings(draws)
    levels = know(draws, readings, doubts_of(fit, Goal()))
    assert levels.spot[0, 3] - levels.capacity[0, 3] == pytest.approx(VISIT**2)
    assert levels.spot[0, 4] == levels.capacity[0, 4], "another seabed is another visit"
    pairs = doubts_of(fit, Goal("ranking"))
    difference = know(draws, readings, pairs)
    assert difference.now[0] == pytest.approx(
        levels.capacity[0, 0] + levels.capacity[3, 3] - 2 * levels.capacity[0, 3]
    )
    many = {0: 1, 3: 1}
    endless = [
        each.__class__(**{**each.__dict__, "noise": np.full_like(each.noise, 1e-6)})
        for each in (difference, levels)
    ]
    difference, levels = endless
    assert variance_after(difference, many)[0] < 2.2 * SPOT**2
    assert variance_after(levels, many)[0] > SPOT**2 + 0.5 * VISIT**2


def test_few_draws_do_not_make_strangers_alike() -> None:
    """Cells that have nothing in common: what chance correlations take away is given back, on average."""
    left = []
    for seed in range(20):
        fit = day_fit(8, 3, 200, seed=seed, rows=HIGH)
        posterior = fit.tree["posterior"]
        posterior["log_capacity"][:] = 7.5 + 0.3 * np.random.default_rng(seed).normal(size=(1, 200, 8, 3))
        draws = draws_of(fit)
        knowledge = know(draws, new_readings(draws), doubts_of(fit, Goal()))
        others = [cell for cell in range(24) if cell not in PULLS]
        left.append((variance_after(knowledge, PULLS) / knowledge.now)[others].mean())
    assert np.mean(left) > 0.995
    assert 150.0 < draws_worth(draws) <= 200.0


def test_a_chain_that_remembers_is_worth_fewer_draws() -> None:
    fit = day_fit(4, 3, 4000)
    values = fit.tree["posterior"]["log_capacity"]
    steps = np.random.default_rng(2).normal(size=(4000, 4, 3))
    chain = np.zeros_like(steps)
    for at in range(1, 4000):
        chain[at] = 0.8 * chain[at - 1] + steps[at]
    values[0] = chain
    assert draws_worth(draws_of(fit)) == pytest.approx(4000 * (1 - 0.64) / (1 + 0.64), rel=0.05)


@pytest.mark.parametrize("apart", [0.0, 0.4, 1.3, -2.0])
@pytest.mark.parametrize("share", [0.3, 0.8, 0.97])
def test_wrong_orders_against_simulated_days(apart: float, share: float) -> None:
    """A normal difference and its mean after the day, drawn (computed)."""
    random = np.random.default_rng(4)
    mean_after = apart + np.sqrt(1 - share**2) * random.standard_normal(400_000)
    truth = mean_after + share * random.standard_normal(400_000)
    assert wrong_orders(np.array(apart), np.array(share)) == pytest.approx(
        ((truth > 0) != (mean_after > 0)).mean(), abs=0.003
    )


def test_without_a_day_the_smaller_share_of_draws_is_wrong() -> None:
    fit = day_fit()
    doubts = doubts_of(fit, Goal("ranking"))
    values = draws_of(fit)["log_capacity"]
    more = np.array([(values[:, a] > values[:, b]).mean(axis=0) for a in range(4) for b in range(a + 1, 4)])
    expected = np.minimum(more, 1 - more).T.ravel()  # seabed by seabed
    assert doubts.chance_wrong == pytest.approx(np.maximum(expected, 0.5 / 2000), abs=1e-9)
    assert doubts.left(np.ones(18)) == pytest.approx(doubts.chance_wrong.sum(), abs=1e-6)
    assert wrong_orders(np.array([0.0, 1.0]), np.array([0.0, 0.0])) == pytest.approx(0.0)


def test_pairs_told_apart_are_those_of_the_ranking_and_grow_with_a_day() -> None:
    from holdcast.answers.rank.rank import ranking

    fit = day_fit(6, 3)
    doubts = doubts_of(fit, Goal("ranking"))
    now = int(ranking(fit)["pairs_apart"].sum())
    assert doubts.told_apart(np.ones(45)) == pytest.approx(now, abs=0.01)
    random = np.random.default_rng(6)
    mean_after = doubts.weight + np.sqrt(1 - 0.36) * random.standard_normal((20_000, 45))
    sure = np.abs(mean_after) / 0.6 > stats.norm.ppf(0.95)
    assert doubts.told_apart(np.full(45, 0.6)) == pytest.approx(sure.sum(axis=1).mean(), rel=0.01)


@pytest.mark.parametrize("aim", ["cells", "ranking", "features"])
def test_the_search_sees_what_the_formula_says(aim: str) -> None:
    """Tables and rank-one updates against the whole inverse."""
    fit = day_fit(6, 3)
    draws = draws_of(fit)
    doubts = doubts_of(fit, Goal(aim))
    knowledge = know(draws, new_readings(draws), doubts)
    exact = knowledge.__class__(**{**knowledge.__dict__, "worth": np.inf})
    so_far = DaySoFar(knowledge, leftovers(doubts), np.arange(18))
    assert so_far.left() == pytest.approx(doubts.left(np.ones(len(doubts.weight))), rel=1e-4)
    so_far.see(0, 2)
    so_far.see(4, 1)
    ahead = so_far.left_after(np.array([5]), 3)[0]
    both = so_far.left_after_both(np.array([[5, 9]]), 3)[0]
    assert ahead == pytest.approx(doubts.left(left_of(exact, {0: 2, 4: 1, 5: 3})), rel=2e-4)
    assert both == pytest.approx(doubts.left(left_of(exact, {0: 2, 4: 1, 5: 3, 9: 3})), rel=2e-4)
    so_far.see(4, 2)
    assert so_far.left() == pytest.approx(doubts.left(left_of(exact, {0: 2, 4: 3})), rel=2e-4)

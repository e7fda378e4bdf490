"""Worlds in which pulls do not set: what is drawn is what they say, and scores are what they are called."""

import numpy as np
import pytest
import xarray as xr
from scipy import stats

SEED = 20_261_129


def test_as_many_pulls_as_the_world_says_do_not_set() -> None:
    """13% of pulls, over 60 campaigns; cells and pulls are the same share but for chance."""
    from invented.campaign import draw_campaign

    shares = [1.0 - draw_campaign("slides_weight", n, SEED)[1].did_set.mean() for n in range(60)]
    assert np.mean(shares) == pytest.approx(0.13, abs=4.0 * np.std(shares) / np.sqrt(60))
    assert np.std(shares) < 0.05


def test_attempts_come_in_runs_and_keep_their_chance() -> None:
    """Twice the same on one spot with chance 1/2 + 1/2 (p² + (1 - p)²), by hand; firsts are independent."""
    from invented.setting import RUNS, in_runs

    chance = 0.7
    done = in_runs(np.full(40_000, chance), np.repeat(np.arange(20_000), 2), np.random.default_rng(1))
    first, second = done.reshape(-1, 2).T
    same = RUNS + (1.0 - RUNS) * (chance**2 + (1.0 - chance) ** 2)
    assert (first == second).mean() == pytest.approx(same, abs=0.014)
    assert second.mean() == pytest.approx(chance, abs=0.013)
    assert np.corrcoef(second[:-1], first[1:])[0, 1] == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize("world", ["slides_share", "spots", "fouled"])
def test_chance_above_is_the_share_of_new_pulls(world: str) -> None:
    """Against 40,000 new pulls in one cell, drawn as the log draws them."""
    from invented.campaign import draw_campaign
    from invented.log import FOULED_LOG
    from invented.setting import SLIDING_SCATTER, chance_above
    from invented.truth import EVERY_WORLD, TAIL_FREEDOM, VISIT_SPREAD

    kind, random = EVERY_WORLD[world], np.random.default_rng(2)
    truth = draw_campaign(world, 0, SEED)[0]
    at, share, count = (4, 3), 0.7, 40_000
    place = VISIT_SPREAD * random.standard_normal(count) + kind.spot_spread * random.standard_normal(count)
    load = truth.log_capacity[at] + place + truth.scatter[at[1]] * random.standard_t(TAIL_FREEDOM, count)
    load = load + (random.random(count) < kind.fouled) * FOULED_LOG
    if truth.setting is not None:
        slides = truth.setting.sliding[at] + SLIDING_SCATTER * random.standard_normal(count)
        load = np.where(random.random(count) < truth.setting.sets[at], load, slides)
    above = (load > truth.log_capacity[at] + np.log(share)).mean()
    assert chance_above(kind, truth, share, FOULED_LOG)[at] == pytest.approx(above, abs=0.01)


def test_said_chance_is_the_share_of_simulated_pulls() -> None:
    """Two draws of one cell, each simulated 200,000 times."""
    from simulated.new_pulls import chance_of_exceeding

    cell = ("chain", "draw", "anchor", "seabed")
    numbers = {"visit_spread": 0.2, "spot_spread": 0.15, "sliding_efficiency": 1.3, "sliding_scatter": 0.5}
    draws = xr.Dataset(
        {
            "log_capacity": (cell, np.array([[[[7.0]], [[7.4]]]])),
            "sets_log_odds": (cell, np.array([[[[0.5]], [[2.0]]]])),
            "pull_scatter": (("chain", "draw", "seabed"), np.array([[[0.2], [0.3]]])),
            **{name: (("chain", "draw"), np.full((1, 2), value)) for name, value in numbers.items()},
        }
    )
    inputs = xr.Dataset({"log_weight": ("anchor", [5.0])})
    random, above = np.random.default_rng(3), []
    for middle, odds, scatter in ((7.0, 0.5, 0.2), (7.4, 2.0, 0.3)):
        load = middle + np.hypot(0.2, 0.15) * random.standard_normal(200_000)
        load = load + scatter * random.standard_t(4, len(load))
        slides = 5.0 + np.log(1.3) + 0.5 * random.standard_normal(len(load))
        sets = random.random(len(load)) < 1.0 / (1.0 + np.exp(-odds))
        above.append((np.where(sets, load, slides) > 6.5).mean())
    assert chance_of_exceeding(draws, inputs, np.array([[6.5]]))[0, 0] == pytest.approx(
        np.mean(above), abs=0.003
    )


def test_labels_are_right_or_wrong_in_a_tenth_and_move_no_reading() -> None:
    from invented.campaign import make_campaign

    made = {
        labels: make_campaign("slides_share", 3, SEED, labels, resets=True)
        for labels in ("blank", "given", "wrong")
    }
    right = made["given"][3]["setting"].to_numpy()
    for _, _, _, inputs in made.values():
        xr.testing.assert_equal(inputs["upper"], made["blank"][3]["upper"])
        xr.testing.assert_equal(inputs["successes"], made["blank"][3]["successes"])
    assert 0.04 < (made["wrong"][3]["setting"].to_numpy() != right).mean() < 0.16


def test_interval_score_asks_for_narrow_bands_that_cover() -> None:
    """Its expectation is least at the true 5% and 95% points: standard normals, by numerical search."""
    from pages.setting_table import interval_score

    values = stats.norm.ppf((np.arange(4000) + 0.5) / 4000)
    ends = np.linspace(1.2, 2.1, 181)
    scores = [interval_score(values, np.full(4000, -end), np.full(4000, end)).mean() for end in ends]
    assert ends[int(np.argmin(scores))] == pytest.approx(1.645, abs=0.01)


def test_no_two_anchors_share_a_day_where_the_world_says_so() -> None:
    from invented.campaign import draw_campaign

    log = draw_campaign("by_ground_a_day", 1, SEED)[1]
    assert all(len(np.unique(log.anchor_of[log.visit_of == v])) == 1 for v in np.unique(log.visit_of))
    log = draw_campaign("spots", 1, SEED)[1]
    cell = log.anchor_of * 7 + log.seabed_of
    assert all(len(np.unique(log.visit_of[cell == c])) == 1 for c in np.unique(cell))

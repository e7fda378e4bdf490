"""The bound on errors in the invented worlds: closed forms, simulation, and what it may never exceed."""

from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

SCRIPTS = Path(__file__).parents[2] / "scripts"


@pytest.fixture(autouse=True)
def _scripts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(SCRIPTS))


def test_one_unknown_has_the_textbook_posterior_variance() -> None:
    from worlds_floor import left_variance

    variance = left_variance(np.array([[0.25]]), 0.04 * np.eye(3), np.zeros(3, dtype=int))
    np.testing.assert_allclose(variance, 1.0 / (1.0 / 0.25 + 3.0 / 0.04), rtol=1e-12)


def test_a_cell_without_pulls_keeps_what_its_neighbours_do_not_tell() -> None:
    from worlds_floor import left_variance

    covariance = np.array([[1.0, 0.5], [0.5, 1.0]])
    variance = left_variance(covariance, np.array([[1.0]]), np.array([0]))
    np.testing.assert_allclose(variance, [0.5, 1.0 - 0.5**2 / 2.0], rtol=1e-12)


def test_information_of_a_scattering_pull_by_quadrature() -> None:
    from worlds_truth import TAIL_FREEDOM

    def score2(x: float) -> float:
        slope = (TAIL_FREEDOM + 1.0) * x / (TAIL_FREEDOM + x * x)
        return float(slope**2 * stats.t.pdf(x, TAIL_FREEDOM))

    found = integrate.quad(score2, -np.inf, np.inf)[0]
    assert found == pytest.approx((TAIL_FREEDOM + 1.0) / (TAIL_FREEDOM + 3.0), rel=1e-8)


@pytest.mark.parametrize("name", ["no_limit", "fouled", "families"])
def test_the_best_possible_misses_as_expected(name: str) -> None:
    """Sixty simulated campaigns: their mean square error against the mean of the expected ones."""
    from worlds_floor import expected_errors
    from worlds_log import draw_hidden, draw_log
    from worlds_rivals import best_possible
    from worlds_truth import WORLDS, draw_truth

    generator, world = np.random.default_rng(20_261_127), WORLDS[name]
    over = []
    for _ in range(60):
        truth, hidden = draw_truth(world, generator), draw_hidden(generator)
        log = draw_log(world, truth, hidden, generator)
        missed = (best_possible(truth, log).middle - truth.log_capacity)[hidden]
        over.append((missed**2).mean() / expected_errors(world, truth, log, hidden)[0] ** 2)
    error = np.std(over, ddof=1) / np.sqrt(len(over))
    assert error < 0.06
    assert abs(np.mean(over) - 1.0) < 3.0 * error


def test_learning_costs_something_in_every_world() -> None:
    from worlds_floor import floors
    from worlds_truth import WORLDS

    for name in WORLDS:
        best, least = floors(name, range(2), 5).T
        assert np.all(least > best)


def test_a_campaign_of_the_bound_is_the_campaign_that_was_fitted() -> None:
    from worlds import SEED, make_campaign
    from worlds_floor import expected_errors, floors
    from worlds_truth import WORLDS

    truth, log, hidden, _ = make_campaign("weak_boat", 3, SEED)
    expected = expected_errors(WORLDS["weak_boat"], truth, log, hidden)
    np.testing.assert_array_equal(floors("weak_boat", range(3, 4), SEED)[0], expected)


def test_the_page_is_what_the_script_writes_from_the_kept_outcomes() -> None:
    import worlds_floor

    docs = SCRIPTS.parent / "docs"
    outcomes = worlds_floor.read_outcomes(docs / "worlds.jsonl")
    kept = (docs / "worlds_floor.md").read_text(encoding="utf-8")
    made = worlds_floor.page(outcomes, range(8), worlds_floor.SEED, kept.split("`")[1])
    assert made == kept

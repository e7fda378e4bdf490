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
    from worlds_campaign import draw_campaign
    from worlds_floor import expected_errors
    from worlds_truth import WORLDS

    for name, world in WORLDS.items():
        for number in range(2):
            best, least = expected_errors(world, *draw_campaign(name, number, 5)[:3])
            assert least > best


@pytest.mark.parametrize("name", ["no_limit", "cliff", "middle_peak", "lone_feature"])
def test_what_is_learnt_spreads_as_the_worlds_do(name: str) -> None:
    """What chance adds to what is told, over 400 draws: no mean, and the covariance of the bound."""
    from worlds_floor import learnt_covariance
    from worlds_truth import WORLDS, draw_truth

    generator, world = np.random.default_rng(7), WORLDS[name]
    truths = [draw_truth(world, generator) for _ in range(400)]
    added = np.array([(truth.mean - truth.told).ravel() for truth in truths])
    expected = learnt_covariance(world, truths[0])
    size = np.sqrt(np.diag(expected))
    assert np.abs(added.mean(axis=0) / size).max() < 4.5 / np.sqrt(len(added))
    off = np.cov(added.T) / np.multiply.outer(size, size) - expected / np.multiply.outer(size, size)
    # An element's standard error is at most the root of two over the draws; 140 x 140 of them.
    assert np.abs(off).max() < 5.5 * np.sqrt(2.0 / len(added))


@pytest.mark.parametrize("limit", [-1.5, -0.3, 0.0, 0.4, 2.0])
def test_information_of_a_pull_below_the_boats_limit_by_quadrature(limit: float) -> None:
    """The score's variance of a censored reading, at one place and averaged over a normal of places."""
    from worlds_floor import information
    from worlds_truth import TAIL_FREEDOM

    t, scale, spread = stats.t(TAIL_FREEDOM), 0.2, 0.5

    def censored(z: float) -> float:
        seen = integrate.quad(
            lambda x: ((TAIL_FREEDOM + 1.0) * x / (TAIL_FREEDOM + x * x)) ** 2 * t.pdf(x), -np.inf, z
        )[0]
        return float(seen + t.pdf(z) ** 2 / t.sf(z))

    at_one = information(np.array([limit]), np.array([1e-9]), np.array([scale]))
    assert at_one[0] == pytest.approx(censored(limit / scale), rel=1e-4)
    mean = integrate.quad(
        lambda u: censored((limit - spread * u) / scale) * stats.norm.pdf(u), -6.0, 6.0, limit=200
    )[0]
    found = information(np.array([limit]), np.array([spread]), np.array([scale]))
    assert found[0] == pytest.approx(mean, rel=2e-3)


def test_a_boat_that_breaks_out_every_anchor_loses_no_information() -> None:
    from worlds_floor import information
    from worlds_truth import TAIL_FREEDOM

    found = information(np.array([50.0]), np.array([0.5]), np.array([0.2]))
    assert found[0] == pytest.approx((TAIL_FREEDOM + 1.0) / (TAIL_FREEDOM + 3.0), rel=1e-6)


def test_a_campaign_of_the_bound_is_the_campaign_that_was_fitted() -> None:
    from worlds import SEED
    from worlds_campaign import draw_campaign, make_campaign

    drawn, made = draw_campaign("weak_boat", 3, SEED), make_campaign("weak_boat", 3, SEED)
    np.testing.assert_array_equal(drawn[0].log_capacity, made[0].log_capacity)
    np.testing.assert_array_equal(drawn[1].log_load, made[1].log_load)
    np.testing.assert_array_equal(drawn[2], made[2])


def test_the_page_is_what_the_script_writes_from_the_kept_outcomes() -> None:
    import worlds_floor

    docs = SCRIPTS.parent / "docs"
    kept = (docs / "worlds_floor.md").read_text(encoding="utf-8")
    made = worlds_floor.page(worlds_floor.read_outcomes(docs / "worlds.jsonl"), kept.split("`")[1])
    assert made == kept


def test_a_file_without_campaigns_is_told_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import worlds_floor

    page = tmp_path / "page.md"
    asked = ["worlds_floor.py", "--outcomes", str(tmp_path / "none.jsonl"), "--out", str(page)]
    monkeypatch.setattr("sys.argv", asked)
    assert worlds_floor.main() == 2
    assert "holds no campaign" in capsys.readouterr().err
    assert not page.exists()

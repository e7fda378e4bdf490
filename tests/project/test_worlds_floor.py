"""The bound on errors in the invented worlds: closed forms, simulation, and what it may never exceed."""

from math import exp, gamma, pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, special, stats

DOCS = Path(__file__).parents[2] / "docs"


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
    from invented.truth import TAIL_FREEDOM

    def score2(x: float) -> float:
        slope = (TAIL_FREEDOM + 1.0) * x / (TAIL_FREEDOM + x * x)
        return float(slope**2 * stats.t.pdf(x, TAIL_FREEDOM))

    found = integrate.quad(score2, -np.inf, np.inf)[0]
    assert found == pytest.approx((TAIL_FREEDOM + 1.0) / (TAIL_FREEDOM + 3.0), rel=1e-8)


@pytest.mark.parametrize("name", ["no_limit", "fouled", "families"])
def test_the_best_possible_misses_as_expected(name: str) -> None:
    """Sixty simulated campaigns: their mean square error against the mean of the expected ones."""
    from invented.log import draw_hidden, draw_log
    from invented.rivals import best_possible
    from invented.truth import WORLDS, draw_truth
    from worlds_floor import expected_errors

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
    from invented.campaign import draw_campaign
    from invented.truth import WORLDS
    from worlds_floor import expected_errors

    for name, world in WORLDS.items():
        for number in range(2):
            best, least = expected_errors(world, *draw_campaign(name, number, 5)[:3])
            assert least > best


def directions(has_feature: np.ndarray, size: np.ndarray) -> dict[str, np.ndarray]:
    """Over cells, anchor by anchor: which of them share what a seabed, a form or a feature adds."""
    from invented.truth import DESIGN_OF, FORMS, SEABEDS

    form = np.array([FORMS[design] for design in DESIGN_OF])
    same_form = (form[:, None] == form).astype(float)
    same_feature = has_feature @ has_feature.T
    every, here = np.ones((len(SEABEDS), len(SEABEDS))), np.eye(len(SEABEDS))
    ones = np.ones((len(form), len(form)))
    return {
        "ground": np.kron(ones, here),
        "exponent": np.kron(np.multiply.outer(size, size), here),
        "form": np.kron(same_form, every),
        "form by seabed": np.kron(same_form, here),
        "feature": np.kron(same_feature, every),
        "feature by seabed": np.kron(same_feature, here),
    }


@pytest.mark.parametrize("name", ["no_limit", "cliff", "middle_peak", "lone_feature"])
def test_what_is_learnt_spreads_as_the_worlds_do(name: str) -> None:
    """What chance adds to what is told, over 400 draws: nothing outside of the bound's covariance, and of
    each part in it neither more nor less (the score of its variance is 0)."""
    from invented.truth import WORLDS, draw_truth
    from worlds_floor import learnt_covariance

    generator, world = np.random.default_rng(7), WORLDS[name]
    truths = [draw_truth(world, generator) for _ in range(400)]
    added = np.array([(truth.mean - truth.learnable).ravel() for truth in truths])
    expected = learnt_covariance(world, truths[0])
    values, vectors = np.linalg.eigh(expected)
    kept = values > 1e-9 * values.max()
    np.testing.assert_allclose(added @ vectors[:, ~kept], 0.0, atol=1e-6)
    inverse = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    weighed = added @ inverse
    mean = (weighed @ expected).mean(axis=0)
    assert np.abs(mean / np.sqrt(np.diag(expected))).max() < 4.5 / np.sqrt(len(added))
    for part, shared in directions(truths[0].has_feature, np.log(truths[0].mass / 10.0)).items():
        if world.lone_feature and part.startswith("feature"):
            continue
        found = np.einsum("ni,ij,nj->n", weighed, shared, weighed)
        wanted = np.trace(inverse @ shared)
        assert abs(found.mean() - wanted) < 4.0 * found.std() / np.sqrt(len(found)), part


@pytest.mark.parametrize("limit", [-1.5, -0.3, 0.0, 0.4, 2.0])
def test_information_of_a_pull_below_the_boats_limit_by_quadrature(limit: float) -> None:
    """The score's variance of a censored reading, at one place and averaged over a normal of places."""
    from invented.truth import TAIL_FREEDOM
    from worlds_floor import information

    freedom, scale, spread = TAIL_FREEDOM, 0.2, 0.5
    # Student's density written out: the library's takes twenty times as long for one number.
    top = gamma((freedom + 1.0) / 2.0) / (sqrt(freedom * pi) * gamma(freedom / 2.0))

    def density(x: float) -> float:
        return float(top * (1.0 + x * x / freedom) ** (-(freedom + 1.0) / 2.0))

    def censored(z: float) -> float:
        seen = integrate.quad(
            lambda x: ((freedom + 1.0) * x / (freedom + x * x)) ** 2 * density(x), -np.inf, z
        )[0]
        return float(seen + density(z) ** 2 / special.stdtr(freedom, -z))

    assert density(0.7) == pytest.approx(stats.t.pdf(0.7, freedom), rel=1e-12)
    at_one = information(np.array([limit]), np.array([1e-9]), np.array([scale]))
    assert at_one[0] == pytest.approx(censored(limit / scale), rel=1e-4)
    mean = integrate.quad(
        lambda u: censored((limit - spread * u) / scale) * exp(-u * u / 2.0) / sqrt(2.0 * pi),
        *(-6.0, 6.0),
        limit=200,
    )[0]
    found = information(np.array([limit]), np.array([spread]), np.array([scale]))
    assert found[0] == pytest.approx(mean, rel=2e-3)


def test_a_boat_that_breaks_out_every_anchor_loses_no_information() -> None:
    from invented.truth import TAIL_FREEDOM
    from worlds_floor import information

    found = information(np.array([50.0]), np.array([0.5]), np.array([0.2]))
    assert found[0] == pytest.approx((TAIL_FREEDOM + 1.0) / (TAIL_FREEDOM + 3.0), rel=1e-6)


@pytest.mark.parametrize("limit", [-0.5, 0.0, 0.5, 5.0])
def test_no_estimate_of_one_pull_beats_the_bound(limit: float) -> None:
    """The exact mean square error of the posterior mean, by quadrature over places and loads."""
    from invented.truth import TAIL_FREEDOM
    from worlds_floor import information

    spread, scale = 0.5, 0.2
    place = np.linspace(-4.0, 4.0, 801)
    prior = stats.norm.pdf(place, 0.0, spread)
    load = np.linspace(-8.0, min(limit, 8.0), 4001)
    seen = stats.t.pdf((load[:, None] - place) / scale, TAIL_FREEDOM) / scale
    held = stats.t.sf((limit - place) / scale, TAIL_FREEDOM)

    def left(likelihood: np.ndarray) -> np.ndarray:
        weight = likelihood * prior
        total = weight.sum(axis=-1)
        mean = (weight * place).sum(axis=-1) / total
        return ((weight * place**2).sum(axis=-1) / total - mean**2) * total * (place[1] - place[0])

    exact = np.trapezoid(left(seen), load) + left(held)
    told = information(np.array([limit]), np.array([spread]), np.array([scale]))[0] / scale**2
    bound = 1.0 / (1.0 / spread**2 + told)
    assert bound < exact < 2.2 * bound


@pytest.mark.parametrize("name", ["no_limit", "families", "fouled", "weak_boat"])
def test_loads_are_as_the_bounds_learner_expects(name: str) -> None:
    """Loads before any reading, less what is told, have the bound's covariance: whitened they are 1."""
    from invented.campaign import draw_campaign
    from invented.log import FOULED_LOG
    from invented.truth import TAIL_FREEDOM, VISIT_SPREAD, WORLDS
    from worlds_floor import learnt_covariance

    squares = []
    for number in range(40):
        truth, log, *_ = draw_campaign(name, number, 9)
        cell = log.anchor_of * truth.learnable.shape[1] + log.seabed_of
        left = log.log_load - truth.learnable.ravel()[cell] - log.fouled * FOULED_LOG
        covariance = (truth.covariance + learnt_covariance(WORLDS[name], truth))[np.ix_(cell, cell)]
        covariance = covariance + VISIT_SPREAD**2 * (log.visit_of[:, None] == log.visit_of)
        scatter = truth.scatter[log.seabed_of] ** 2 * TAIL_FREEDOM / (TAIL_FREEDOM - 2.0)
        squares.append(left @ np.linalg.solve(covariance + np.diag(scatter), left) / len(left))
    assert np.mean(squares) == pytest.approx(1.0, abs=0.08)


def test_a_campaign_of_the_bound_is_the_campaign_that_was_fitted() -> None:
    from invented.campaign import draw_campaign, make_campaign
    from worlds import SEED

    drawn, made = draw_campaign("weak_boat", 3, SEED), make_campaign("weak_boat", 3, SEED)
    np.testing.assert_array_equal(drawn[0].log_capacity, made[0].log_capacity)
    np.testing.assert_array_equal(drawn[1].log_load, made[1].log_load)
    np.testing.assert_array_equal(drawn[2], made[2])


def test_the_page_is_what_the_script_writes_from_the_kept_outcomes() -> None:
    import worlds_floor

    kept = (DOCS / "worlds_floor.md").read_text(encoding="utf-8")
    made = worlds_floor.page(worlds_floor.read_outcomes(DOCS / "worlds.jsonl"), kept.split("`")[1])
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

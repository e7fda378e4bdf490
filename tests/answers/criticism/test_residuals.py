"""Residuals against theory: standard normal for loads drawn from the model; scipy's distributions."""

import numpy as np
import pytest
from scipy import integrate, stats

from holdcast.answers.criticise.predictions import LEFT_OUT, NEW_DESIGN, NEW_VISIT, PREDICTIONS
from holdcast.answers.criticise.residuals import mean_normal_between, randomised_residuals, residuals
from holdcast.answers.draws.new_pull import load_survival
from holdcast.answers.explain.influence import leave_out_weights
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import DEGREES_OF_FREEDOM


def test_all_four_kinds_of_readings_are_there(found) -> None:
    assert (np.bincount(found["kind"]) > 50).all()


def test_share_of_the_heavy_tails_is_the_librarys() -> None:
    """Outside witness: scipy's Student t."""
    values = np.array([-np.inf, -1e6, -30.0, -2.5, -1e-9, 0.0, 0.3, 4.0, 1e6, np.inf])
    share = load_survival(-values, np.zeros(1), np.zeros(values.size), np.ones(values.size))
    assert share == pytest.approx(stats.t(DEGREES_OF_FREEDOM).cdf(values), rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("kinds", [(0,), (0, 1, 2, 3)])
def test_residuals_of_pulls_from_the_model_are_standard_normal(found, kinds: tuple[int, ...]) -> None:
    left_out = found.sel(prediction=LEFT_OUT)
    if kinds == (0,):  # censoring takes loads by their size, so exact ones alone are no sample of the model
        share = randomised_residuals(left_out["pit_high"].to_numpy(), left_out["pit_high"].to_numpy(), 1, 1)[
            0
        ]
        exact = left_out["kind"].to_numpy() == 0
        assert np.allclose(left_out["residual"].to_numpy()[exact], share[exact])
        return
    residual = left_out["residual"].to_numpy()
    assert stats.kstest(residual, "norm").pvalue > 0.01
    assert residual.std() == pytest.approx(1.0, abs=0.07)  # 3.4 standard errors of 1,200 pulls
    assert left_out["mean_residual"].to_numpy().mean() == pytest.approx(0.0, abs=0.09)
    assert left_out["mean_residual"].to_numpy().std() < residual.std()


@pytest.mark.parametrize(("prediction", "cluster"), [(NEW_VISIT, "visit"), (NEW_DESIGN, "design")])
def test_a_replaced_effect_shows_in_the_residuals_of_its_cluster(
    found, prediction: str, cluster: str
) -> None:
    replaced = found.sel(prediction=prediction)["residual"].to_numpy()
    # Standard normal as a whole, though pulls of one cluster go together; clusters differ, so wider limits.
    assert replaced.std() == pytest.approx(1.0, abs=0.12)
    own = np.unique(found[cluster].to_numpy(), return_inverse=True)[1]

    def between(values: np.ndarray) -> float:
        return float(np.var((np.bincount(own, values) / np.bincount(own))[own]) / np.var(values))

    left_out = found.sel(prediction=LEFT_OUT)["residual"].to_numpy()
    assert between(left_out) < 0.1 < 0.2 < between(replaced)


def test_shares_of_a_new_visit_agree_with_a_convolution(known_fit: Fit, found) -> None:
    trial = int(np.flatnonzero(found["kind"].to_numpy() == 0)[3])
    told, here = known_fit.inputs.isel(trial=trial), found.isel(trial=trial).sel(prediction=NEW_VISIT)
    draws = known_fit.posterior.mean(("chain", "draw"))
    centre = float(draws["log_capacity"][int(told["anchor_of"]), int(told["seabed_of"])])
    scale = float(draws["pull_scatter"][int(told["seabed_of"])])
    visit = stats.norm(0.0, float(draws["visit_spread"]))
    below = integrate.quad(
        lambda effect: visit.pdf(effect) * stats.t.cdf((float(told["upper"]) - centre - effect) / scale, 4),
        -3,
        3,
    )[0]
    assert float(here["pit_high"]) == pytest.approx(below, abs=2e-3)
    assert float(here["expected"]) == pytest.approx(centre, abs=1e-3)


def test_leaving_out_weighs_the_draws(small_fit: Fit) -> None:
    found = residuals(small_fit).sel(prediction=LEFT_OUT, trial="T2")
    weight = leave_out_weights(small_fit)["weight"].sel(trial="T2").to_numpy()
    posterior = small_fit.posterior
    centre = posterior["log_capacity"].sel(anchor="A-10", seabed="soft mud") + posterior["visit_effect"].isel(
        visit=0
    )
    below = stats.t.cdf(np.log(1600.0), 4, centre.to_numpy().reshape(-1), 0.2)
    assert float(found["pit_high"]) == pytest.approx(weight @ below, abs=1e-9)
    assert abs(float(found["pit_high"]) - below.mean()) > 1e-3  # the weights do matter


def test_open_ends_are_open(small_fit: Fit) -> None:
    found = residuals(small_fit)
    assert (found["pit_high"].sel(trial="T3") == 1.0).all()  # never let go
    assert (found["pit_low"].sel(trial="T4") == 0.0).all()  # never held
    assert (found["pit_low"] <= found["pit_high"]).all()
    assert found["prediction"].to_numpy().tolist() == list(PREDICTIONS)


def test_the_seed_alone_changes_the_random_residuals(small_fit: Fit) -> None:
    first, again, other = (residuals(small_fit, seed=seed) for seed in (1, 1, 2))
    assert first.identical(again)
    assert not np.allclose(first["residual"], other["residual"])
    assert first["mean_residual"].identical(other["mean_residual"])


@pytest.mark.parametrize(("low", "high"), [(0.1, 0.3), (0.0, 0.2), (0.5, 1.0), (0.02, 0.98)])
def test_mean_between_shares_agrees_with_scipy(low: float, high: float) -> None:
    a, b = stats.norm.ppf([max(low, 1e-9), min(high, 1 - 1e-9)])
    expected = stats.truncnorm.mean(a, b)
    assert mean_normal_between(np.array([low]), np.array([high]))[0] == pytest.approx(expected, abs=1e-6)


def test_mean_between_equal_shares_is_the_quantile() -> None:
    shares = np.array([0.025, 0.5, 0.9])
    assert np.allclose(mean_normal_between(shares, shares), stats.norm.ppf(shares))
    assert np.allclose(mean_normal_between(shares, shares + 1e-8), stats.norm.ppf(shares), atol=1e-6)

"""Explanations against closed forms: normal leave-one-out, Shapley shares by hand, scipy's densities."""

import json
import math

import numpy as np
import pytest
import xarray as xr
from scipy import stats

from holdcast.answers.cells import own_data as own_data_module
from holdcast.answers.cells.own_data import own_data, without_own_pulls
from holdcast.answers.explain.band_sources import band_sources, shapley_shares
from holdcast.answers.explain.explain import explain
from holdcast.answers.explain.influence import (
    TRUSTED_K,
    cell_draws,
    influential_trials,
    leave_out_weights,
    pull_check,
)
from holdcast.answers.explain.learning import LITTLE_LEARNT
from holdcast.answers.explain.prior_sensitivity import prior_sensitivity
from holdcast.answers.explain.setting_evidence import setting_evidence, setting_sources
from holdcast.answers.explain.spread_priors import spread_priors
from holdcast.capacity.fitting import Fit
from holdcast.capacity.log_prior import log_prior
from holdcast.capacity.model.design_parts import PARTS
from holdcast.show.views.explain.cell import (
    Explained,
    explain_lines,
    explain_sheet,
    width_sentence,
)
from holdcast.show.views.explain.pulls import load_text

CELL = ("A-10", "soft mud")


def replaced(fit: Fit, **groups: xr.Dataset) -> Fit:
    tree = fit.tree.copy()
    for name, data in groups.items():
        tree[name] = xr.DataTree(data)
    return Fit(tree, fit.verdict)


def conjugate_fit(fit: Fit, readings: np.ndarray) -> Fit:
    """Make the cell the mean of a normal model with known spread 1 and a wide prior, readings as trials."""
    posterior, shape = fit.posterior.copy(), (2, 400)
    precision = len(readings) + 0.01
    quantiles = (np.random.default_rng(3).permutation(800) + 0.5) / 800
    draws = stats.norm(readings.sum() / precision, precision**-0.5).ppf(quantiles).reshape(shape)
    capacity = posterior["log_capacity"].copy(deep=True)
    capacity.loc[{"anchor": CELL[0], "seabed": CELL[1]}] = draws
    likelihood = stats.norm.logpdf(readings, draws[..., None])
    log_load = fit.tree["log_likelihood"].to_dataset()["log_load"].copy(data=likelihood)
    return replaced(
        fit,
        posterior=posterior.assign(log_capacity=capacity),
        log_likelihood=log_load.to_dataset(name="log_load"),
    )


def test_leaving_a_trial_out_agrees_with_the_closed_form(small_fit: Fit) -> None:
    readings = np.array([0.0, 0.3, -0.4, 0.1, 1.6, -0.2, 0.2])
    trials = influential_trials(conjugate_fit(small_fit, readings), *CELL)
    all_mean, all_precision = readings.sum() / 7.01, 7.01
    assert trials["trial"].to_numpy()[0] == "T5"  # the reading far out
    for place, reading in enumerate(readings):
        here = trials.sel(trial=f"T{place + 1}")
        exact = (readings.sum() - reading) / 6.01 - all_mean
        assert float(here["move"]) == pytest.approx(exact * all_precision**0.5, abs=0.05)
        assert float(here["factor"]) == pytest.approx(math.exp(exact), rel=0.02)
        assert float(here["sd_ratio"]) == pytest.approx((7.01 / 6.01) ** 0.5, rel=0.05)
    assert float(trials["pareto_k"].max()) < TRUSTED_K
    moves = np.abs(trials["move"].to_numpy())
    assert (np.diff(moves) <= 0).all()


def test_weights_sum_to_one_and_trials_carry_their_cell(small_fit: Fit) -> None:
    weights = leave_out_weights(small_fit)
    assert np.allclose(weights["weight"].sum("sample"), 1.0)
    trials = influential_trials(small_fit, *CELL)
    assert (
        trials["anchor"].sel(trial="T6").item() == "B-20"
        and trials["seabed"].sel(trial="T6").item() == "firm sand"
    )


def test_pull_check_counts_predictions_below_either_end(small_fit: Fit) -> None:
    check = pull_check(small_fit, *CELL)
    assert check["trial"].to_numpy().tolist() == ["T1", "T2"]
    told = small_fit.inputs
    assert np.allclose(
        check["lower"], told["lower"].sel(trial=["T1", "T2"])
    )  # read along the bottom, at rest
    weight = leave_out_weights(small_fit)["weight"].sel(trial="T1").to_numpy()
    predicted = small_fit.tree["posterior_predictive"]["log_load"].sel(trial="T1").to_numpy().ravel()
    counted = weight[predicted < np.log(1500.0)].sum()
    assert float(check["pit_low"].sel(trial="T1")) == pytest.approx(counted)
    assert (check["pit_low"] <= check["pit_high"]).all()
    open_above = pull_check(small_fit, "A-10-bar", "soft mud")
    assert open_above["pit_high"].item() == pytest.approx(1.0) and np.isinf(open_above["upper"].item())
    assert load_text(open_above.isel(trial=0), "si") == "above 1.90"
    open_below = pull_check(small_fit, "B-09", "soft mud")
    assert open_below["pit_low"].item() == 0.0 and load_text(open_below.isel(trial=0), "si") == "below 0.90"
    assert pull_check(small_fit, "C-12", "stones").sizes["trial"] == 0


def test_a_pull_far_out_is_called_surprising(small_fit: Fit) -> None:
    told = small_fit.inputs.copy(deep=True)
    for name in ("lower", "upper"):
        told[name].loc[{"trial": "T2"}] = np.log(30_000.0)
    check = pull_check(replaced(small_fit, constant_data=told), *CELL)
    assert bool(check["surprising"].sel(trial="T2")) and not bool(check["surprising"].sel(trial="T1"))


def test_shapley_shares_by_hand() -> None:
    rng = np.random.default_rng(1)
    base = np.linalg.qr(rng.standard_normal((500, 3)) - 0.0)[0]
    base = np.linalg.qr(base - base.mean(axis=0))[0] * np.sqrt(500)  # uncorrelated columns of mean 0
    independent = shapley_shares(
        base @ [3.0, 1.0, 0.0], {"a": [base[:, 0]], "b": [base[:, 1]], "c": [np.ones(500)]}
    )
    assert independent == pytest.approx({"a": 0.9, "b": 0.1})
    # Two parts that trade: x = u + v, y = -u + v/2; total 1.5 v. Regression on x alone explains 1/2 (v in x),
    # on y alone 1/5, on both all: shares (1/2 + 1 - 1/5) / 2 and (1/5 + 1 - 1/2) / 2.
    u, v = base[:, 0], base[:, 1]
    traded = shapley_shares(1.5 * v, {"x": [u + v], "y": [0.5 * v - u]})
    assert traded == pytest.approx({"x": 0.65, "y": 0.35})


def test_sources_add_up_and_leave_out_what_is_not_there(small_fit: Fit) -> None:
    tested = band_sources(small_fit, *CELL)
    assert float(tested["share"].sum()) == pytest.approx(1.0)
    assert "features" not in tested["part"].to_numpy()  # A-10 has none
    assert "own pulls" in tested["part"].to_numpy()
    other = band_sources(small_fit, "A-10-bar", "stones")
    assert {"features"} <= set(other["part"].to_numpy()) and "own pulls" not in other["part"].to_numpy()
    # An effect of the configuration is the design's here, whatever the other parts are.
    far = small_fit.posterior.assign(
        configuration_effect=20.0 * small_fit.posterior["configuration_effect"],
        log_capacity=small_fit.posterior["log_capacity"] + 19.0 * small_fit.posterior["configuration_effect"],
    )
    apart = band_sources(replaced(small_fit, posterior=far), *CELL)
    assert float(apart["share"].sel(part="design here")) > 0.9
    # In the small fit parts are independent: the design's spread of 0.15 beats the ground's of 0.1.
    design = float(tested["share"].sel(part=["design here", "design elsewhere"]).sum())
    own = 0.15**2 + 0.05**2 + 2 * 0.05**2  # of design, configuration and two traits
    assert design == pytest.approx(own / (own + 0.1**2 + 0.1**2), abs=0.07)


def test_prior_densities_are_scipys(small_fit: Fit) -> None:
    tree = small_fit.tree.copy()
    tree.attrs = {
        **tree.attrs,
        "priors": json.dumps(
            {
                "feature_typical": {"mean": 0.1, "sd": 0.3},
                "design_spread": {"median": 0.35, "log_sd": 0.4},
                "tip_growth": {"low": 0.0, "high": 2 / 3, "a": 2.0, "b": 2.0},
                "design_share": dict(zip(PARTS, (2.0, 2.0, 2.0, 1.0, 1.0, 2.0), strict=True)),
            }
        ),
    }
    posterior = small_fit.posterior.copy()
    share = np.array([0.3, 0.2, 0.2, 0.1, 0.1, 0.1])
    posterior["design_share"] = (("chain", "draw", "part"), np.broadcast_to(share, (2, 400, 6)))
    posterior = posterior.assign_coords(part=list(PARTS))
    density = log_prior(str(tree.attrs["priors"]), posterior).isel(chain=1, draw=7)
    here = posterior.isel(chain=1, draw=7)
    assert float(density["feature_typical"]) == pytest.approx(
        stats.norm(0.1, 0.3).logpdf(here["feature_typical"]).sum()
    )
    log_spread = math.log(float(here["design_spread"]))
    expected = stats.norm(math.log(0.35), 0.4).logpdf(log_spread) - log_spread
    assert float(density["design_spread"]) == pytest.approx(expected)
    assert float(density["tip_growth"]) == pytest.approx(
        stats.beta(2, 2, 0, 2 / 3).logpdf(float(here["tip_growth"]))
    )
    assert float(density["design_share"]) == pytest.approx(stats.dirichlet([2, 2, 2, 1, 1, 2]).logpdf(share))


def test_prior_dominates_where_the_cell_is_its_prior(small_fit: Fit) -> None:
    posterior = small_fit.posterior.copy()
    rng = np.random.default_rng(2)
    spread = np.exp(np.log(0.35) + 0.4 * rng.standard_normal((2, 400)))
    capacity = posterior["log_capacity"].copy(deep=True)
    capacity.loc[{"anchor": CELL[0], "seabed": CELL[1]}] = np.log(spread)
    flat = small_fit.tree["log_likelihood"].to_dataset() * 0.0 + 1e-4 * rng.standard_normal((2, 400, 1))
    leaning = replaced(
        small_fit,
        posterior=posterior.assign(design_spread=(("chain", "draw"), spread), log_capacity=capacity),
        log_likelihood=flat,
    )
    answer = prior_sensitivity(leaning, *CELL)
    assert bool(answer["dominates"].sel(group="designs")) and not bool(
        answer["dominates"].sel(group="features")
    )
    assert float(answer["likelihood"]) < 0.05
    firm = prior_sensitivity(conjugate_fit(small_fit, np.linspace(-1, 1, 7)), *CELL)
    assert float(firm["likelihood"]) > 0.05 and not firm["dominates"].any()


def test_wrong_labels_are_answered_with_the_nearest(small_fit: Fit) -> None:
    for question in (cell_draws, influential_trials, pull_check, band_sources, prior_sensitivity, explain):
        with pytest.raises(
            KeyError, match="unknown anchor: 'A-11'; the nearest known one to 'A-11' is 'A-10'"
        ):
            question(small_fit, "A-11", "soft mud")
        with pytest.raises(KeyError, match="is 'stones'"):
            question(small_fit, "A-10", "stone")


def test_words_and_picture(small_fit: Fit) -> None:
    from holdcast.show.figures.intervals import interval_figure

    questions = (
        *(explain, band_sources, influential_trials, pull_check, prior_sensitivity, spread_priors),
        *(setting_evidence, setting_sources),
    )
    answer = Explained(*(question(small_fit, *CELL) for question in questions))
    text = "\n".join(explain_lines(answer, "si", TRUSTED_K, LITTLE_LEARNT, width=110))
    assert "tested, 2 pulls on 1 visit" in text and "one in ten should" in text
    assert "without its own pulls it would span a factor of about" in text
    sure, unsure = (
        width_sentence(answer.cell.assign(sd_without_pareto_k=TRUSTED_K + step), TRUSTED_K)
        for step in (0, 0.2)
    )
    assert "roughly" not in sure and "(roughly: few draws say so, Pareto k 0.9)" in unsure
    figure = interval_figure(explain_sheet(answer, "us", small_fit.tree.attrs, reliable=False))
    assert figure.texts[0].get_text().startswith("UNRELIABLE")
    untested = Explained(*(question(small_fit, "C-12", "stones") for question in questions))
    assert "untested, nobody pulled it here" in " ".join(
        explain_lines(untested, "us", TRUSTED_K, LITTLE_LEARNT, width=60)
    )


def test_one_cell_alone_is_what_it_is_among_all(small_fit: Fit) -> None:
    every, alone = without_own_pulls(small_fit), without_own_pulls(small_fit, CELL)
    place = dict(zip(("anchor", "seabed"), CELL, strict=True))
    for name in every.data_vars:
        np.testing.assert_allclose(alone[name].sel(place), every[name].sel(place), rtol=1e-12)
    assert float(every["sd_without"].sel(place)) > float(every["sd_all"].sel(place))
    untested = without_own_pulls(small_fit, ("C-12", "stones"))
    assert (untested["sd_without"] == untested["sd_all"]).all()
    with pytest.raises(KeyError, match="unknown seabed"):
        without_own_pulls(small_fit, ("C-12", "stone"))


def test_own_data_is_rough_where_the_weights_are_uneven(small_fit: Fit, monkeypatch) -> None:
    spreads = without_own_pulls(small_fit)
    told = own_data(small_fit)
    assert (told["own_data_rough"] == (spreads["pareto_k"] > TRUSTED_K)).all()
    uneven = spreads.assign(pareto_k=spreads["pareto_k"] * 0.0 + 0.71)
    monkeypatch.setattr(own_data_module, "without_own_pulls", lambda _: uneven)
    assert own_data(small_fit)["own_data_rough"].all()

"""Pulls that slid, resets and veers against theory: standard normal where they are drawn from the model."""

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from scipy import stats

from holdcast.answers.criticise.chances import ALL_TENTHS, chances_seen
from holdcast.answers.criticise.predictions import LEFT_OUT
from holdcast.answers.criticise.reset_veer_residuals import reset_residuals, veer_residuals
from holdcast.answers.criticise.residuals import residuals
from holdcast.answers.criticise.scatter import setting_scatter
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import BETWEEN, DID_NOT_SET, EXACT, NOT_SAID, SET, UNREAD

SETS, SLIDES, SLIDING_SCATTER = 0.7, 4.9, 0.5
"""Chance of setting, and the log load at which these anchors of 10 kg slide."""


def changed(fit: Fit, posterior: dict[str, object] | None = None, **inputs: object) -> Fit:
    """Return the fit with other inputs, and draws that are the same everywhere."""
    tree = fit.tree.copy()
    draws = fit.posterior
    for name, value in (posterior or {}).items():
        draws[name] = draws[name] * 0.0 + value
    told = fit.inputs.assign(inputs)
    tree["posterior"] = xr.DataTree(draws)
    tree["constant_data"] = xr.DataTree(told)
    return replace(fit, tree=tree)


def half_set(fit: Fit, say: bool) -> Fit:
    """Return the known world with three in ten pulls at the load they slide at, all read exactly."""
    rng = np.random.default_rng(8)
    trials = fit.inputs.sizes["trial"]
    draws = fit.posterior.mean(("chain", "draw"))
    told = fit.inputs
    centre = (
        draws["log_capacity"].to_numpy()[told["anchor_of"], told["seabed_of"]]
        + draws["visit_effect"].to_numpy()[told["visit_of"]]
    )
    load = centre + draws["pull_scatter"].to_numpy()[told["seabed_of"]] * rng.standard_t(4, trials)
    sets = rng.random(trials) < SETS
    load = np.where(sets, load, rng.normal(SLIDES, SLIDING_SCATTER, trials))
    setting = np.where(sets, SET, DID_NOT_SET) if say else np.zeros(trials, dtype=int)
    posterior = {
        "sets_log_odds": np.log(SETS / (1.0 - SETS)),
        "set_concentration": 1e9,
        "sliding_efficiency": np.exp(SLIDES) / 98.0665,
        "sliding_scatter": SLIDING_SCATTER,
    }
    made = changed(
        fit,
        posterior,
        lower=("trial", load),
        upper=("trial", load),
        kind=("trial", np.full(trials, EXACT)),
        setting=("trial", setting),
    )
    made.tree["observed_data"] = xr.DataTree(
        fit.tree["observed_data"].to_dataset().assign(had_set=("trial", sets.astype(float)))
    )
    return made


@pytest.mark.parametrize("say", [False, True])
def test_pulls_of_anchors_that_may_slide_have_standard_normal_residuals(known_fit: Fit, say: bool) -> None:
    fit = half_set(known_fit, say)
    found = residuals(fit).sel(prediction=LEFT_OUT)
    residual = found["residual"].to_numpy()
    assert stats.kstest(residual, "norm").pvalue > 0.01
    slid = fit.tree["observed_data"]["had_set"].to_numpy() == 0.0
    # Judged as pulls that set, these would lie beyond every share kept: at -6.
    assert slid.sum() > 300 and np.abs(residual[slid]).max() < 4.0
    assert found["sets"].to_numpy() == pytest.approx(SETS, abs=1e-6)
    if say:  # of its own branch, a slide is no lower than others
        assert residual[slid].mean() == pytest.approx(0.0, abs=0.2)
    else:
        assert residual[slid].mean() < -0.8  # in the lower three tenths, most of them


def test_share_below_is_the_mixtures(known_fit: Fit) -> None:
    fit = half_set(known_fit, say=False)
    found, trial = residuals(fit).sel(prediction=LEFT_OUT), 5
    told, draws = fit.inputs.isel(trial=trial), fit.posterior.mean(("chain", "draw"))
    anchor, seabed, visit = (int(told[f"{name}_of"]) for name in ("anchor", "seabed", "visit"))
    centre = float(draws["log_capacity"][anchor, seabed] + draws["visit_effect"][visit])
    load = float(told["upper"])
    held = stats.t.cdf((load - centre) / float(draws["pull_scatter"][seabed]), 4)
    slid = stats.norm.cdf(load, SLIDES, SLIDING_SCATTER)
    expected = SETS * held + (1.0 - SETS) * slid
    assert float(found["pit_high"][trial]) == pytest.approx(expected, abs=2e-3)
    middle = SETS * centre + (1.0 - SETS) * SLIDES
    assert float(found["expected"][trial]) == pytest.approx(middle, abs=2e-3)


def test_a_pull_without_a_load_says_nothing_of_loads(known_fit: Fit) -> None:
    fit = half_set(known_fit, say=True)
    slid = np.flatnonzero(fit.inputs["setting"].to_numpy() == DID_NOT_SET)[0]
    kind = fit.inputs["kind"].to_numpy().copy()
    kind[slid] = UNREAD
    found = residuals(changed(fit, kind=("trial", kind))).isel(trial=int(slid))
    assert (found["pit_low"] == 0.0).all() and (found["pit_high"] == 1.0).all()
    assert found["mean_residual"].to_numpy() == pytest.approx(0.0, abs=1e-12)


def with_tests(fit: Fit, chance: float, tests: int = 600) -> Fit:
    """Return the known world with resets and veers drawn from the model on its pulls' spots."""
    rng = np.random.default_rng(3)
    told, draws = fit.inputs, fit.posterior.mean(("chain", "draw"))
    pull = rng.integers(0, told.sizes["trial"], tests)
    place = {name: told[f"{name}_of"].to_numpy()[pull] for name in ("anchor", "seabed", "visit", "spot")}
    attempts = rng.integers(1, 11, tests)
    successes = rng.binomial(attempts, rng.beta(6.0 * chance, 6.0 * (1.0 - chance), tests))
    load = (
        draws["log_capacity"].to_numpy()[place["anchor"], place["seabed"]]
        + draws["visit_effect"].to_numpy()[place["visit"]]
        + draws["pull_scatter"].to_numpy()[place["seabed"]] * rng.standard_t(4, tests)
    )
    step = 0.3 * np.floor(load / 0.3)
    zeros, none = np.zeros(tests), np.zeros(tests, dtype=int)
    made = told.drop_dims(["reset", "veer"]).assign(
        {
            **{f"{kind}_{name}": (kind, at) for kind in ("reset", "veer") for name, at in place.items()},
            "attempts": ("reset", attempts), "successes": ("reset", successes),
            "reset_judged": ("reset", none), "reset_held": ("reset", zeros), "reset_fall": ("reset", zeros),
            "reversal": ("reset", zeros + 1.0),
            # Half of what a straight pull holds is left: turned through a right angle with τ = log 2.
            "veer_kind": ("veer", none + BETWEEN), "veer_lower": ("veer", step - np.log(2.0)),
            "veer_upper": ("veer", step + 0.3 - np.log(2.0)), "turn_lower": ("veer", zeros + 1.0),
            "turn_upper": ("veer", zeros + 1.0), "veer_speed": ("veer", zeros + 0.001),
            **dict.fromkeys(("veer_fall_lower", "veer_fall_upper", "veer_fall_slope"), ("veer", zeros)),
        }
    ).assign_coords(reset=[f"R{i}" for i in range(tests)], veer=[f"V{i}" for i in range(tests)])  # fmt: skip
    posterior = fit.posterior
    posterior["resets_log_odds"] = posterior["sets_log_odds"] * 0.0 + np.log(chance / (1.0 - chance))
    posterior["turn"] = posterior["sets_log_odds"] * 0.0 + np.log(2.0)
    tree = fit.tree.copy()
    tree["posterior"], tree["constant_data"] = xr.DataTree(posterior), xr.DataTree(made)
    return replace(fit, tree=tree)


def test_counts_and_turned_loads_from_the_model_are_standard_normal(known_fit: Fit) -> None:
    fit = with_tests(known_fit, 0.6)
    resets, veers = reset_residuals(fit), veer_residuals(fit)
    for found in (resets, veers):
        assert stats.kstest(found["residual"], "norm").pvalue > 0.01
        assert found["residual"].to_numpy().std() == pytest.approx(1.0, abs=0.1)
    assert (resets["pit_low"].to_numpy()[resets["successes"] == 0] == 0.0).all()
    all_well = (resets["successes"] == resets["attempts"]).to_numpy()
    assert (resets["pit_high"].to_numpy()[all_well] == 1.0).all()
    one = resets.isel(reset=11)
    law = stats.betabinom(int(one["attempts"]), 6.0 * 0.6, 6.0 * 0.4)
    assert float(one["pit_high"]) == pytest.approx(law.cdf(int(one["successes"])), abs=1e-9)
    scatter = setting_scatter(resets, veers)
    assert scatter["test"].to_numpy().tolist() == ["resets", "veers"]
    assert scatter["ratio"].to_numpy() == pytest.approx(1.0, abs=0.1)


def test_counts_of_another_chance_are_not(known_fit: Fit) -> None:
    """The check can fail: attempts that succeed more rarely than predicted lie low."""
    fit = with_tests(known_fit, 0.6)
    told = fit.inputs.assign(successes=("reset", (fit.inputs["successes"].to_numpy() * 0.6).astype(int)))
    fit.tree["constant_data"] = xr.DataTree(told)
    assert float(reset_residuals(fit)["residual"].mean()) < -0.4


def test_a_log_without_resets_has_none(known_fit: Fit) -> None:
    assert reset_residuals(known_fit).sizes["reset"] == 0 and veer_residuals(known_fit).sizes["veer"] == 0
    scatter = setting_scatter(reset_residuals(known_fit), veer_residuals(known_fit))
    assert scatter.sizes["test"] == 0


def chances_of(fit: Fit, sets: np.ndarray, setting: np.ndarray, resets: xr.Dataset) -> xr.Dataset:
    trials = fit.inputs.sizes["trial"]
    pulls = xr.Dataset(
        {
            "sets": (("trial", "prediction"), np.resize(sets, trials)[:, None]),
            "setting": ("trial", np.resize(setting, trials)),
        },
        {"prediction": [LEFT_OUT]},
    )
    return chances_seen(fit, pulls, resets)


def test_chances_stand_in_their_tenth_with_jeffreys_interval(known_fit: Fit) -> None:
    """Outside witness: scipy's beta; ten attempts of one spot count as 10 / (1 + 9 / 7) with c = 6."""
    resets = xr.Dataset(
        {
            "attempts": ("reset", [10, 10, 5]),
            "successes": ("reset", [7, 9, 0]),
            "chance": ("reset", [0.72, 0.78, 0.1]),
        }
    )
    setting = np.full(known_fit.inputs.sizes["trial"], NOT_SAID)
    setting[:3] = SET, SET, DID_NOT_SET
    made = chances_of(known_fit, np.array([0.95]), setting, resets)
    again = made.sel(event="sets again")
    assert again["tests"].to_numpy().tolist() == [0, 5, 0, 0, 0, 0, 0, 20, 0, 0, 25]
    seventh = again.sel(part="0.7")
    assert float(seventh["predicted"]) == pytest.approx(0.75) and float(seventh["seen"]) == 0.8
    independent = 20.0 / (1.0 + 9.0 / 7.0)
    law = stats.beta(0.8 * independent + 0.5, 0.2 * independent + 0.5)
    ends = [float(seventh[f"seen_{end}"]) for end in ("low", "high")]
    assert ends == pytest.approx(law.ppf([0.05, 0.95]))
    assert float(again["seen_low"].sel(part="0.1")) == 0.0
    assert bool(again["enough"]) and not bool(made["enough"].sel(event="sets"))
    told = made.sel(event="sets", part=ALL_TENTHS)
    assert int(told["tests"]) == 3 and float(told["seen"]) == pytest.approx(2.0 / 3.0)

"""Likelihoods of single pulls, worked out after sampling, against the model's own sum."""

import numpy as np
import pymc as pm
import pytensor
import pytest
import xarray as xr
from pytensor.compile.mode import Mode
from scipy import special, stats

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.likelihood.log_likelihoods import TESTS, log_likelihood_of
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.pointwise.pulls import pull_draws, shifted_log_likelihoods
from holdcast.capacity.pointwise.resets_and_veers import reset_draws, veer_draws

NAMES = (
    *("log_capacity", "visit_effect", "spot_effect", "pull_scatter", "strength_of_fall", "rate_per_decade"),
    *("sets_log_odds", "set_concentration", "sliding_efficiency", "sliding_scatter", "spot_spread"),
)


def test_single_pulls_add_up_to_the_models_likelihood(setting_campaign: Campaign, plain_mode: Mode) -> None:
    inputs = _with_rode_and_speed(lay_out(setting_campaign))
    model = build_model(inputs, with_overrides({}))
    total = model.logp(vars=[model["log_load"]])
    parts = model.replace_rvs_by_values([model[name] for name in NAMES])
    evaluate = pytensor.function(model.value_vars, [total, *parts], mode=plain_mode, on_unused_input="ignore")
    start, random = model.initial_point(), np.random.default_rng(2)
    for _ in range(5):
        point = [start[v.name] + random.normal(0.0, 0.5, start[v.name].shape) for v in model.value_vars]
        logp, *values = evaluate(*point)
        draws = _one_draw(model, dict(zip(NAMES, values, strict=True)))
        # Of each given those before it on its spot: given all others, they would not add up.
        (singles,) = shifted_log_likelihoods(draws, inputs, [0.0])
        assert singles.shape == (1, 1, inputs.sizes["trial"])
        np.testing.assert_allclose(singles.sum(), logp, rtol=1e-8)
        given_others = pull_draws(draws, inputs).log_likelihood
        assert given_others.shape == singles.shape
        assert np.isfinite(given_others).all()


def _with_rode_and_speed(inputs: xr.Dataset) -> xr.Dataset:
    """Return the same pulls as if rode and speed had been noted: corrections and the Jacobian count."""
    fall = np.linspace(0.0, 0.4, inputs.sizes["trial"])
    given = {"fall_lower": fall, "fall_upper": fall, "fall_slope": 0.5 * fall, "speed": 0.1 * fall}
    return inputs.assign({name: ("trial", values) for name, values in given.items()})


def _one_draw(model: pm.Model, values: dict[str, np.ndarray]) -> xr.Dataset:
    return xr.Dataset(
        {
            name: (("chain", "draw", *(model.named_vars_to_dims.get(name) or ())), value[None, None])
            for name, value in values.items()
        }
    )


@pytest.mark.parametrize("test", ["reset", "veer"])
def test_single_resets_and_veers_add_up_to_the_models_likelihood(
    test: str, setting_campaign: Campaign, plain_mode: Mode
) -> None:
    """The counts' constant, which the model leaves out, is scipy's."""
    inputs = lay_out(setting_campaign)
    sizes, random = inputs.sizes, np.random.default_rng(4)
    cells = (sizes["anchor"], sizes["seabed"])
    values = {
        "capacity": random.normal(7.2, 0.4, cells), "visit": random.normal(0.0, 0.2, sizes["visit"]),
        "spot": random.normal(0.0, 0.1, sizes["spot"]), "scatter": random.uniform(0.2, 0.4, sizes["seabed"]),
        "fall": np.array(0.5), "rate": random.uniform(0.05, 0.2, sizes["seabed"]),
        "odds": random.normal(1.5, 1.0, cells), "odds_again": random.normal(0.5, 1.0, cells),
        "concentration": np.array(5.0), "turn": random.uniform(0.05, 0.5, cells),
    }  # fmt: skip
    data = {str(name): array.to_numpy() for name, array in inputs.data_vars.items()}
    graph = log_likelihood_of(test, {name: values[name] for name in TESTS[test].effects}, data)
    total = float(pytensor.function([], graph, mode=plain_mode)())
    draws = _one_draw_of(values, inputs)
    if test == "veer":
        assert veer_draws(draws, inputs).log_likelihood.sum() == pytest.approx(total, rel=1e-9)
        return
    said = reset_draws(draws, inputs)
    attempts, successes = said.attempts, said.successes
    total += np.log(special.comb(attempts, successes)).sum()
    assert said.log_likelihood.sum() == pytest.approx(total, rel=1e-9)
    law = stats.betabinom(attempts, 5.0 * said.chance[0], 5.0 * (1.0 - said.chance[0]))
    np.testing.assert_allclose(said.below(successes)[0], law.cdf(successes - 1), rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(said.below(attempts + 1)[0], 1.0)


def _one_draw_of(values: dict[str, np.ndarray], inputs: xr.Dataset) -> xr.Dataset:
    """Return the effects of the likelihood as one draw under the posterior's names."""
    rates = np.zeros(inputs.sizes["soil"])
    rates[inputs["soil_of"].to_numpy()] = values["rate"]
    cell, sample = ("anchor", "seabed"), ("chain", "draw")
    named = {
        "log_capacity": ("capacity", cell), "visit_effect": ("visit", ("visit",)),
        "spot_effect": ("spot", ("shared_spot",)), "pull_scatter": ("scatter", ("seabed",)),
        "strength_of_fall": ("fall", ()), "sets_log_odds": ("odds", cell),
        "resets_log_odds": ("odds_again", cell), "set_concentration": ("concentration", ()),
        "turn": ("turn", cell),
    }  # fmt: skip
    made = {name: ((*sample, *dims), values[key][None, None]) for name, (key, dims) in named.items()}
    return xr.Dataset({**made, "rate_per_decade": ((*sample, "soil"), rates[None, None])})

"""Likelihoods of single pulls, worked out after sampling, against the model's own sum."""

import numpy as np
import pymc as pm
import pytensor
import xarray as xr
from pytensor.compile.mode import Mode

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.likelihood.pointwise import pull_draws, shifted_log_likelihoods
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides

NAMES = (
    *("log_capacity", "visit_effect", "spot_effect", "pull_scatter", "strength_of_fall", "rate_per_decade"),
    *("sets_log_odds", "set_concentration", "sliding_efficiency", "sliding_scatter"),
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

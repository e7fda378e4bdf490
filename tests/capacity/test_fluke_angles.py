"""Angles of flukes: what the model is told, that it adds nothing where there is nothing, and what it adds."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytensor
import pytest
import xarray as xr
from pytensor.compile.mode import Mode

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.fluke_angles import angle_steps
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model import build
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.prior_draws import draw_prior
from holdcast.capacity.model.priors import default_priors, with_overrides
from holdcast.capacity.sampler.code_key import code_key
from holdcast.capacity.sampler.density import lay_out_point
from holdcast.physics.ground.fluke_angle import PUBLISHED_GAIN

ONE_ANGLE = [32.0, 32.0, 30.0, 45.0]
TWO_ANGLES = [32.0, 47.0, 30.0, 45.0]
"""Of A-10 and A-10-bare, both of design A, B-15 and C-08."""


def with_angles(campaign: Campaign, angles_deg: list[float]) -> Campaign:
    return replace(campaign, anchors=campaign.anchors.assign(fluke_angle_deg=angles_deg))


def log_density(inputs: xr.Dataset, mode: Mode) -> tuple[float, dict[str, Any]]:
    """Return the log density of a model at one point, and the point."""
    model = build_model(inputs, with_overrides({}))
    values = {name: np.full(shape, 0.1) for name, shape in lay_out_point(model).shapes.items()}
    function = pytensor.function(model.value_vars, model.logp(sum=False), mode=mode)
    terms = function(*[values[each.name] for each in model.value_vars])
    return math.fsum(float(number) for term in terms for number in np.ravel(term)), values


def test_a_fluke_is_compared_with_others_of_its_design(small_campaign: Campaign) -> None:
    inputs = lay_out(with_angles(small_campaign, TWO_ANGLES))
    np.testing.assert_allclose(inputs["fluke_angle_steps"], [-0.5, 0.5, 0.0, 0.0])
    assert inputs["angle_ground"].to_numpy().tolist() == ["soft_cohesive", "firm_cohesive", "granular"]
    np.testing.assert_allclose(inputs["fluke_angle_expected"], list(PUBLISHED_GAIN.values()))
    share = inputs["angle_ground_share"]
    assert float(share.sel(seabed="mud", angle_ground="soft_cohesive")) > 0.95
    np.testing.assert_array_equal(share.sel(seabed=["beach", "stones"], angle_ground="granular"), [1.0, 1.0])


def test_a_missing_angle_has_no_effect_and_is_no_fault(small_campaign: Campaign) -> None:
    anchors = small_campaign.anchors.assign(design="A", fluke_angle_deg=[30.0, np.nan, 45.0, 30.0])
    steps = angle_steps(anchors["fluke_angle_deg"], anchors["design"])
    np.testing.assert_allclose(steps, np.array([-5.0, 0.0, 10.0, -5.0]) / 15.0)


@pytest.fixture(scope="module")
def bare(small_campaign: Campaign, plain_mode: Mode) -> tuple[float, dict[str, Any]]:
    """The density of a model without the term, and its point."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(build, "_fluke_angle", lambda data, priors: 0.0)
        return log_density(lay_out(small_campaign), plain_mode)


@pytest.mark.parametrize("angles_deg", [[np.nan] * 4, ONE_ANGLE, [32.0, np.nan, 30.0, 45.0], [33.1] * 4])
def test_without_two_angles_in_a_design_the_density_is_that_of_a_model_without_the_term(
    small_campaign: Campaign,
    plain_mode: Mode,
    bare: tuple[float, dict[str, Any]],
    angles_deg: list[float],
) -> None:
    """To the last digit, and no number more to sample."""
    inputs = lay_out(with_angles(small_campaign, angles_deg))
    assert inputs.sizes["angle_ground"] == 0
    value, values = log_density(inputs, plain_mode)
    assert values.pop("fluke_angle_deviation").size == 0
    assert value == bare[0]
    assert {name: np.shape(each) for name, each in values.items()} == {
        name: np.shape(each) for name, each in bare[1].items()
    }


def test_two_angles_are_another_density(
    small_campaign: Campaign, plain_mode: Mode, bare: tuple[float, dict[str, Any]]
) -> None:
    """Guards the test above: it can fail."""
    two, _ = log_density(lay_out(with_angles(small_campaign, TWO_ANGLES)), plain_mode)
    assert abs(bare[0] - two) > 0.01


def test_angles_need_no_code_of_their_own(small_campaign: Campaign) -> None:
    keys = {
        code_key(lay_out_point(build_model(lay_out(with_angles(small_campaign, angles)), default_priors())))
        for angles in (ONE_ANGLE, TWO_ANGLES)
    }
    assert len(keys) == 1


def test_the_effect_is_steps_times_the_slope_of_the_ground(small_campaign: Campaign) -> None:
    """Two models whose angles alone differ, drawn with one seed: the difference is the effect."""
    inputs = lay_out(with_angles(small_campaign, TWO_ANGLES))
    steeper = inputs.assign(fluke_angle_steps=inputs["fluke_angle_steps"] + [0.0, 1.0, 0.0, 0.0])
    one, other = (draw_prior(build_model(each, with_overrides({})), 3, 40) for each in (inputs, steeper))
    gain = (one["fluke_angle_slope"] * inputs["angle_ground_share"]).sum("angle_ground")
    expected = gain.transpose("chain", "draw", "seabed").to_numpy()
    # Ground and forms are drawn themselves, so that nothing but the term moves.
    moved = (other["log_capacity"] - one["log_capacity"]).transpose("anchor", "chain", "draw", "seabed")
    np.testing.assert_allclose(moved[1], expected, atol=1e-9)
    np.testing.assert_allclose(moved[[0, 2, 3]], 0.0, atol=1e-9)


def test_the_prior_reaches_from_nothing_to_what_is_published(small_campaign: Campaign) -> None:
    """0.63 of the capacity at 48° against 34° in hard ground (value from memory), and no effect at all."""
    drawn = draw_prior(
        build_model(lay_out(with_angles(small_campaign, TWO_ANGLES)), with_overrides({})), 1, 4000
    )["fluke_angle_slope"]
    published = math.log(44.0 / 70.0) * 15.0 / (48.0 - 34.0)
    for ground in ("firm_cohesive", "granular"):
        low, high = drawn.sel(angle_ground=ground).quantile([0.05, 0.95])
        assert low < published < 0.0 < high
    together = np.corrcoef(drawn.isel(chain=0).transpose("angle_ground", "draw"))
    np.testing.assert_allclose(together, [[1.0, 0.0, 0.0], [0.0, 1.0, 0.8], [0.0, 0.8, 1.0]], atol=0.06)
    np.testing.assert_allclose(drawn.std(("chain", "draw")), 0.25, rtol=0.05)
    soft = drawn.sel(angle_ground="soft_cohesive")
    assert 0.6 < float((soft > 0).mean()) < 0.9  # 50° is what guides ask for in mud, so more likely a gain


def test_a_campaign_may_set_its_prior(make_campaign: Callable[..., Campaign]) -> None:
    priors = with_overrides({"fluke_angle_deviation": {"sd": 0.05}})
    assert priors["fluke_angle_deviation"].parameters == {"mean": 0.0, "sd": 0.05}

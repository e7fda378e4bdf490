"""Hidden traits of designs: what the model draws of them, against their definition, label by label."""

import numpy as np
import pytensor
import pytest
import xarray as xr
from pytensor.compile.mode import Mode
from scipy import stats

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.inputs.likeness import alike_kernel
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.design_parts import PARTS, TRAITS
from holdcast.capacity.model.design_split import ANCHOR_EFFECT, effects_of_anchors
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.tree import judged_draws, prior_group
from holdcast.physics.ground.penetration import log_penetration_factor


@pytest.fixture(scope="module")
def told(small_campaign: Campaign) -> xr.Dataset:
    return lay_out(small_campaign)


@pytest.fixture(scope="module")
def prior(told: xr.Dataset) -> xr.Dataset:
    return prior_group(build_model(told, with_overrides({})), told, 3)


def test_a_designs_traits_do_what_its_scores_and_their_loadings_say(prior: xr.Dataset) -> None:
    for design in prior["design"].to_numpy():
        for seabed in prior["seabed"].to_numpy():
            score, loading = (
                prior["trait_score"].sel(design=design),
                prior["trait_loading"].sel(seabed=seabed),
            )
            expected = sum(
                score.sel(trait=name) * loading.sel(trait=name) for name in prior["trait"].to_numpy()
            )
            found = prior["trait_effect"].sel(design=design, seabed=seabed)
            np.testing.assert_allclose(found, expected, atol=1e-12)


def test_loadings_share_the_traits_part_and_are_half_alike_in_like_seabeds(
    prior: xr.Dataset, told: xr.Dataset, small_campaign: Campaign
) -> None:
    part = prior["design_share"].sel(part="trait") / prior.sizes["trait"]
    unit = prior["trait_loading"] / (prior["design_spread"] * np.sqrt(part))
    rows = unit.transpose("chain", "draw", "trait", "seabed").to_numpy().reshape(-1, prior.sizes["seabed"])
    soils = [str(soil) for soil in small_campaign.seabeds["soil"]]
    kernel = alike_kernel(told["strength_index"].to_numpy(), soils)
    expected = 0.5 * kernel + 0.5 * np.eye(len(kernel))
    # Five standard errors of a covariance of normals.
    room = 5.0 * np.sqrt((1.0 + expected**2) / len(rows))
    assert (np.abs(rows.T @ rows / len(rows) - expected) < room).all()
    assert stats.kstest(prior["trait_score"].to_numpy().ravel(), "norm").pvalue > 1e-3


def test_effects_of_anchors_have_the_covariance_of_designs_traits_and_configurations(
    told: xr.Dataset, plain_mode: Mode
) -> None:
    """The model's own map, unit normal by unit normal, against the covariance by definition, cell by cell."""
    model = build_model(told, with_overrides({}))
    names = ["anchor_seabed_z", "design_share", "trait_loading_z", "design_spread"]
    evaluate = pytensor.function(
        [model[name] for name in names],
        [model[ANCHOR_EFFECT], model["trait_loading"]],
        mode=plain_mode,
    )
    anchors, seabeds = told.sizes["anchor"], told.sizes["seabed"]
    random = np.random.default_rng(6)
    share, spread = random.dirichlet(np.ones(len(PARTS))), 0.4
    standard = random.standard_normal((len(TRAITS), seabeds))
    made, loading = [], np.zeros(())
    for unit in np.eye(anchors * seabeds):
        effect, loading = evaluate(unit.reshape(anchors, seabeds), share, standard, spread)
        made.append(effect.ravel())
    of = dict(zip(PARTS, share * spread**2, strict=True))
    vectors, identity = told["alike_vector"].to_numpy(), np.eye(seabeds)
    kernel = (vectors * told["alike_value"].to_numpy()) @ vectors.T
    half = 0.5 * kernel + 0.5 * identity
    design = of["main"] + of["alike"] * kernel + of["own"] * identity + loading.T @ loading
    configuration = of["configuration"] + of["configuration_seabed"] * half
    design_of = told["design_of"].to_numpy()
    same = (design_of[:, None] == design_of).astype(float)
    assert same.sum() > anchors  # a design of several configurations is among them
    expected = np.kron(same, design) + np.kron(np.eye(anchors), configuration)
    np.testing.assert_allclose(np.array(made).T @ np.array(made), expected, atol=1e-12)


def test_log_capacity_is_the_sum_of_the_equation(prior: xr.Dataset, told: xr.Dataset) -> None:
    """All parts but those of designs written out; what is left is design, traits and configuration."""
    mass = told["log_mass_ratio"].reset_coords(drop=True)
    exponent = prior["size_exponent"] + prior["size_exponent_deviation"]
    area = prior["area_exponent"] * prior["anchor_log_area_excess"]
    penetration = log_penetration_factor(
        prior["anchor_log_tip_load"], mass, prior["log_resistance"], prior["penetration_steepness"],
        prior["tip_growth"],
    )  # fmt: skip
    form = prior["form_effect"].isel(form=told["form_of"].reset_coords(drop=True)).drop_vars("form")
    features = xr.dot(told["has_feature"], prior["feature_effect"], dim="feature")
    known = prior["ground"] + exponent * mass + area + penetration + form + features
    left = (prior["log_capacity"] - known).transpose("chain", "draw", "anchor", "seabed")
    np.testing.assert_allclose(left, effects_of_anchors(prior, told), atol=1e-9)


def test_a_trait_turned_round_changes_nothing_that_is_judged(prior: xr.Dataset, told: xr.Dataset) -> None:
    """Chains may differ by the sign of a trait, so no verdict may look at scores or loadings alone."""
    turned = prior.assign(trait_score=-prior["trait_score"], trait_loading=-prior["trait_loading"])
    judged = judged_draws(prior, told)
    assert {"trait_covariance", "anchor_effect"} <= set(judged)
    assert not {"trait_effect", "trait_score", "trait_loading"} & set(judged)
    assert judged.equals(judged_draws(turned, told))


def test_traits_turned_into_each_other_change_nothing_that_is_judged(
    prior: xr.Dataset, told: xr.Dataset
) -> None:
    angle, (one, other) = np.deg2rad(30.0), TRAITS
    first, second = (prior["trait_loading"].sel(trait=name, drop=True) for name in (one, other))
    mixed = xr.concat(
        [
            np.cos(angle) * first - np.sin(angle) * second,
            np.sin(angle) * first + np.cos(angle) * second,
        ],
        prior["trait"],
    ).transpose(*prior["trait_loading"].dims)
    turned = judged_draws(prior.assign(trait_loading=mixed), told)
    xr.testing.assert_allclose(judged_draws(prior, told), turned)

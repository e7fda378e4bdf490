"""Hidden traits of designs: what the model draws of them, against their definition, label by label."""

import numpy as np
import pytest
import xarray as xr
from scipy import stats

from holdcast.campaign import Campaign
from holdcast.capacity.alike import alike_kernel
from holdcast.capacity.design_split import effects_of_anchors
from holdcast.capacity.layout import lay_out
from holdcast.capacity.model import build_model
from holdcast.capacity.priors import with_overrides
from holdcast.capacity.tree import judged_draws, prior_group
from holdcast.physics.penetration import log_penetration_factor


@pytest.fixture
def told(small_campaign: Campaign) -> xr.Dataset:
    return lay_out(small_campaign)


@pytest.fixture
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

"""Models with a part left out: the part is gone, the rest is as it was."""

from typing import Any

import numpy as np
import pytest
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.density import lay_out_point
from holdcast.capacity.sampler.derived import Derivation
from holdcast.capacity.variants import VARIANTS, fit_variant


def test_an_unknown_variant_is_refused(small_campaign: Campaign) -> None:
    with pytest.raises(ValueError, match="there are: without penetration, without features"):
        fit_variant(small_campaign, "without size")


def test_without_penetration_nothing_of_it_is_left(small_campaign: Campaign) -> None:
    inputs = lay_out(small_campaign)
    whole = build_model(inputs, with_overrides({}))
    less = build_model(inputs, with_overrides({}), penetration=False)
    gone = {variable.name for variable in whole.free_RVs} - {variable.name for variable in less.free_RVs}
    assert gone == {
        "cover_resistance",
        "log_tip_load_z",
        "penetration_steepness",
        "resistance_deviation",
        "resistance_soil",
        "resistance_strength_slope",
        "resistance_typical",
        "tip_growth_unit",
    }
    layout = lay_out_point(less)
    point = xr.DataArray(
        layout.start[None, None], dims=("chain", "draw", "of"), coords={"chain": [0], "draw": [0]}
    )
    heavy = inputs.assign(log_tip_load=inputs["log_tip_load"] + 1.0)
    derivation = Derivation(layout)
    known = derivation.variables(point, layout.data)["log_capacity"]
    assert np.isfinite(known).all()
    np.testing.assert_array_equal(derivation.variables(point, layout.packed(heavy))["log_capacity"], known)


@pytest.mark.fit
@pytest.mark.long
@pytest.mark.parametrize("variant", VARIANTS)
def test_a_variant_is_fitted_to_the_same_pulls(
    variant: str, small_campaign: Campaign, fitted: tuple[Any, Any]
) -> None:
    made, whole = fit_variant(small_campaign, variant, seed=6), fitted[0]
    assert made.verdict.ok, made.verdict.sentences
    ours, theirs = (fit.tree["log_likelihood"]["log_load"] for fit in (made, whole))
    assert list(ours["trial"].to_numpy()) == list(theirs["trial"].to_numpy())
    assert ("feature_effect" in made.posterior) == (variant != "without features")
    assert ("log_resistance" in made.posterior) == (variant != "without penetration")

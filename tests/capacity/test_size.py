"""The size law inside the model: published power laws come out of it, and its prior lies inside theory."""

from collections.abc import Callable
from typing import Any

import numpy as np
import published
import pymc as pm
import pytest
import xarray as xr
from pytensor.compile.mode import Mode

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.tree import prior_group
from holdcast.physics.size import (
    REFERENCE_MASS_KG,
    log_size_factor,
)

POUND_KG = 0.45359237
POUNDS = (10, 25, 100, 1000, 10_000)
NAVY = {  # exponent b, holding in lbf at POUNDS: UFC 4-159-03 tables 5-3 and 5-4, values from memory
    "stockless, movable flukes, soft": (0.92, (41.7, 96.9, 346.9, 2885, 24_000)),
    "lightweight twin fluke, hard": (0.80, (501.6, 1044, 3165, 19_970, 126_000)),
    "high-efficiency twin fluke, hard": (0.94, (408.7, 967.0, 3559, 31_000, 270_000)),
}


@pytest.fixture
def sizes(make_campaign: Callable[..., Campaign]) -> Callable[..., Any]:
    """Return the model of one shape in the sizes of the Navy's curves, with some variables held."""

    def model_at(**held: object) -> Any:
        kg = [pounds * POUND_KG for pounds in POUNDS]
        anchors = [
            {"anchor": f"{pounds} lb", "design": "S", "form": "stockless", "mass_kg": mass,
             "tip_load_kg": 0.2 * mass, "fluke_area_m2": 0.015 * mass ** (2 / 3)}
            for pounds, mass in zip(POUNDS, kg, strict=True)
        ]  # fmt: skip
        trials = [{"trial": "1", "anchor": "100 lb", "seabed": "mud", "test": "pull", "date": "2024-05-01",
                   "held_n": 900, "released_n": 1000}]  # fmt: skip
        model = build_model(lay_out(make_campaign(anchors=anchors, trials=trials)), with_overrides({}))
        return pm.do(model, {**held, "size_exponent_deviation": np.zeros(3), "design_spread": 1e-9})

    return model_at


@pytest.mark.parametrize("row", NAVY)
def test_sizes_of_one_shape_follow_a_published_curve_at_full_penetration(
    sizes: Callable[..., Any], plain_mode: Mode, row: str
) -> None:
    """Whatever the other parameters: nothing but the exponent speaks of size when the tip is in.

    The exponent is given here; what is checked is that area, tip load and the rest add nothing to it.
    """
    exponent, holding = NAVY[row]
    model = sizes(size_exponent=exponent, resistance_typical=-60.0)
    for seed in (1, 2):
        log_capacity = pm.draw(model["log_capacity"], random_seed=seed, mode=plain_mode)
        ratios = np.exp(log_capacity - log_capacity[-1])
        np.testing.assert_allclose(ratios, np.outer(np.array(holding) / holding[-1], np.ones(3)), rtol=2e-3)


def test_where_the_tip_cannot_enter_small_anchors_lose_more(
    sizes: Callable[..., Any], plain_mode: Mode
) -> None:
    """The effective exponent far below full penetration is b + k (1 - q), tip load in proportion to mass."""
    model = sizes(size_exponent=0.9, resistance_typical=60.0, penetration_steepness=1.5, tip_growth_unit=0.75)
    log_capacity = pm.draw(model["log_capacity"], random_seed=1, mode=plain_mode)
    slopes = np.diff(log_capacity, axis=0) / np.diff(np.log(POUNDS))[:, None]
    np.testing.assert_allclose(slopes, 0.9 + 1.5 * (1.0 - 0.5), rtol=1e-6)


def test_prior_exponents_lie_inside_theory(small_campaign: Campaign) -> None:
    """2/3 for uniform strength, 1 where it grows with depth or in drained sand (identities)."""
    inputs = lay_out(small_campaign)
    prior: xr.Dataset = prior_group(build_model(inputs, with_overrides({})), inputs, seed=3)
    exponent = prior["size_exponent"] + prior["size_exponent_deviation"]
    inside = (exponent >= 2.0 / 3.0) & (exponent <= 1.0)
    assert float(inside.mean()) >= 0.85
    assert 0.03 <= float((exponent > 0.94).mean()) <= 0.5, "the data must be able to move it beyond print"


def test_prior_of_exponents_holds_the_published_ones(small_campaign: Campaign) -> None:
    """Each exponent of the drag-anchor curves lies inside the prior's 90% of a seabed's exponent.

    UFC 4-159-03 tables 5-3 and 5-4 (values from memory): 0.92 and 0.94 in soft, 0.80 and 0.94 in hard ground.
    """
    inputs = lay_out(small_campaign)
    prior: xr.Dataset = prior_group(build_model(inputs, with_overrides({})), inputs, seed=3)
    exponent = prior["size_exponent"] + prior["size_exponent_deviation"].isel(seabed=0)
    low, high = exponent.quantile([0.05, 0.95])
    for _, soft, _, hard in published.DRAG_ANCHOR_LAW.values():
        assert low < hard <= soft < high


def test_reference_mass_has_factor_one() -> None:
    assert log_size_factor(np.log(REFERENCE_MASS_KG / 10.0), 0.8) == 0.0

"""What lies on top of a seabed: what the model is told, what it does, and what theory lets it do."""

import math
from dataclasses import replace

import numpy as np
import pytest
from geotech_references.dm7_2.chapter5 import figure_5_18b_Ncm_circular as two_layer_factor

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.cover import cover_inputs
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.prior_draws import draw_prior
from holdcast.capacity.model.priors import default_priors, with_overrides
from holdcast.capacity.sampler.code_key import code_key
from holdcast.capacity.sampler.density import lay_out_point
from holdcast.physics.ground.penetration import log_penetration_factor

COVERS = ["weed", "", "shell"]
"""Of mud, beach and stones."""
NC_STRIP = 5.14
SHAPE = 1.2
"""Of a square or round base on clay [1]: Skempton and Meyerhof (value from memory)."""


def with_covers(campaign: Campaign, covers: list[str]) -> Campaign:
    return replace(campaign, seabeds=campaign.seabeds.assign(cover=covers))


def test_covers_stand_by_label_and_blank_is_bare(small_campaign: Campaign) -> None:
    has = cover_inputs(with_covers(small_campaign, COVERS).seabeds)["has_cover"]
    assert has["cover"].to_numpy().tolist() == ["weed", "shell"]
    np.testing.assert_array_equal(has.sel(seabed=["mud", "beach", "stones"]), [[1, 0], [0, 0], [0, 1]])


@pytest.mark.parametrize("covers", [["", "", ""], ["none", "none", "none"], ["none", "", "none"]])
def test_bare_ground_adds_no_number_to_sample(small_campaign: Campaign, covers: list[str]) -> None:
    inputs = lay_out(with_covers(small_campaign, covers))
    assert inputs.sizes["cover"] == 0
    point = build_model(inputs, default_priors()).initial_point()
    assert point["cover_resistance"].size == 0
    assert point["cover_setting"].size == 0


def test_covers_need_no_code_of_their_own(small_campaign: Campaign) -> None:
    keys = {
        code_key(lay_out_point(build_model(lay_out(with_covers(small_campaign, covers)), default_priors())))
        for covers in ([""] * 3, COVERS, ["weed", "shell", "cobble"])
    }
    assert len(keys) == 1


def test_a_cover_raises_resistance_and_moves_the_odds_of_setting_there_alone(
    small_campaign: Campaign,
) -> None:
    """Two models drawn with one seed, the cover of one moved from bare ground to the weedy one."""
    inputs = lay_out(with_covers(small_campaign, COVERS))
    moved = inputs.assign(has_cover=inputs["has_cover"].copy(data=[[1.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    one, other = (draw_prior(build_model(each, with_overrides({})), 3, 60) for each in (inputs, moved))
    by_seabed = (other["log_resistance"] - one["log_resistance"]).isel(chain=0)
    weed = one["cover_resistance"].sel(cover="weed").isel(chain=0)
    # The typical resistance and what is typical of setting are drawn themselves: nothing but the term moves.
    np.testing.assert_allclose(by_seabed.sel(seabed="beach"), weed, atol=1e-9)
    np.testing.assert_allclose(by_seabed.sel(seabed=["mud", "stones"]), 0.0, atol=1e-9)

    def entry(draws):
        return log_penetration_factor(
            draws["anchor_log_tip_load"],
            inputs["log_mass_ratio"],
            draws["log_resistance"].sel(seabed="beach"),
            draws["penetration_steepness"],
            draws["tip_growth"],
        )

    odds = (other["sets_log_odds"] - one["sets_log_odds"]).sel(seabed="beach")
    expected = one["cover_setting"].sel(cover="weed") + one["set_by_entry"] * (entry(other) - entry(one))
    np.testing.assert_allclose(odds.transpose(*expected.dims), expected, atol=1e-9)


def two_layers_kpa(
    upper_kpa: float,
    lower_kpa: float,
    width_m: float,
    thickness_m: float,
    adhesion: float,
    *,
    length_m: float = math.inf,
    surcharge_kpa: float = 0.0,
) -> float:
    """Return what strong clay over weak clay bears [kPa]: Meyerhof & Hanna 1978 (value from memory)."""
    ratio = width_m / length_m
    factor = (1.0 + (SHAPE - 1.0) * ratio) * NC_STRIP
    punched = factor * lower_kpa + (1.0 + ratio) * 2.0 * adhesion * upper_kpa * thickness_m / width_m
    return min(punched, factor * upper_kpa) + surcharge_kpa


def test_two_layers_as_in_the_textbook() -> None:
    """A base of 1 by 1.5 m, 1 m deep in clay of 120 kPa and 16.8 kN/m³, 1 m above clay of 48 kPa: 656.4 kPa.

    A worked example of Das, *Principles of Foundation Engineering* (value from memory); there the adhesion
    is 0.9 of the upper clay's strength, read from Meyerhof and Hanna's chart at a ratio of 0.4.
    """
    base = two_layers_kpa(120.0, 48.0, 1.0, 1.0, 0.9, length_m=1.5, surcharge_kpa=16.8)
    assert base == pytest.approx(656.4, abs=0.5)


@pytest.mark.parametrize("thickness", [0.25, 0.5, 1.0, 1.5])
def test_two_layers_against_the_handbooks_chart(thickness: float) -> None:
    """UFC 3-220-20 (2025), figure 5-18(b), after Brown & Meyerhof 1969, as a library carries it (read)."""
    ours = two_layers_kpa(25.0, 10.0, 1.0, thickness, 0.9, length_m=1.0) / (SHAPE * NC_STRIP * 10.0)
    chart = two_layer_factor(0.4, thickness) / (two_layer_factor(1.0, 1.0) * 0.4)
    assert ours == pytest.approx(chart, rel=0.2)


def test_the_prior_reaches_what_two_layers_let_expect(small_campaign: Campaign) -> None:
    """A crust 1.25 to 2.5 times as strong, a quarter to one and a half times as thick as a tip is wide.

    No effect at all lies inside too: what lies on top may be loose.  Of loose shells or stones theory says
    nothing: their prior is a choice.
    """
    drawn = draw_prior(
        build_model(lay_out(with_covers(small_campaign, COVERS)), with_overrides({})), 1, 4000
    )["cover_resistance"]
    low, high = drawn.sel(cover="weed").quantile([0.05, 0.95])
    assert low < 0.0 < high
    gains = [
        two_layers_kpa(10.0 * stronger, 10.0, 1.0, thickness, 0.9, length_m=1.0) / (SHAPE * NC_STRIP * 10.0)
        for stronger in (1.25, 2.5)
        for thickness in (0.25, 1.5)
    ]
    assert low < math.log(min(gains)) < math.log(max(gains)) < high
    assert max(gains) > 2.0

"""Soils, strength index, bearing and buried chain against published tables and an independent integration."""

import itertools
import math

import numpy as np
import pytest
from closed_forms import buried_chain, buried_chain_exact
from geotech_references.california_trenching.tables import (
    table_3_1_granular_properties,
    table_3_3_cohesive_properties,
)
from geotech_references.gec_6.tables import table_5_1_bearing_capacity_factors
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.stats import norm

from holdcast.physics.errors import PhysicsError
from holdcast.physics.ground.bearing import (
    NC_DEEP_CIRCLE_ROUGH,
    SUBMERGED_UNIT_WEIGHT_KPA_PER_M,
    implied_bearing_factor,
    implied_surcharge_factor,
    surcharge_factor,
    theory_doubt,
)
from holdcast.physics.ground.fluke_angle import angle_shares
from holdcast.physics.ground.soils import SCHEMES, SOILS, class_names, strength_class
from holdcast.physics.ground.strength_index import strength_index
from holdcast.physics.rode.buried_chain import (
    NEGLIGIBLE_SHARE,
    bearing_integral_n,
    share_taken_by_chain,
)
from holdcast.physics.tackle.reasonableness import capacity_doubt

CLASSED = [soil for soil, group in SOILS.items() if group != "rock"]


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("soil", CLASSED)
def test_classes_leave_no_gap(soil, scheme):
    entries = [strength_class(soil, name, scheme) for name in class_names(soil, scheme)]
    for weak, strong in itertools.pairwise(entries):
        # Terzaghi & Peck's medium goes by the name of firm too.
        assert weak.high == strong.low or (weak.name, strong.name) == ("medium", "firm")


def test_the_same_word_differs_between_schemes():
    british, american = (strength_index("clay", "soft", scheme)[0] for scheme in ("bs_5930", "terzaghi_peck"))
    assert british - american == pytest.approx(0.5 * math.log(20 * 40 / (12.5 * 25)))


@pytest.mark.parametrize("soil", CLASSED)
def test_index_rises_with_class_and_blank_is_wide(soil):
    classed = [strength_index(soil, name, "iso_14688_2") for name in class_names(soil, "iso_14688_2")]
    assert (np.diff([mean for mean, _ in classed]) > 0).all()
    assert strength_index(soil, "", "iso_14688_2")[1] > max(sd for _, sd in classed)


def test_a_measurement_replaces_the_class():
    measured = strength_index(
        "clay", "low", "iso_14688_2", strength_basis="vane", undrained_strength_kpa=60.0
    )
    assert measured == pytest.approx((math.log(60 / 40), 0.2))
    probed = strength_index("clay", "low", "iso_14688_2", strength_basis="probe", undrained_strength_kpa=60.0)
    assert probed[1] == 0.4
    by_angle = strength_index("sand", "loose", "iso_14688_2", friction_angle_deg=38.0)
    assert by_angle[0] > strength_index("sand", "loose", "iso_14688_2")[0]
    guess = strength_index("clay", "low", "iso_14688_2", strength_basis="guess")
    assert guess[1] > strength_index("clay", "low", "iso_14688_2")[1]


def granular(angle: float) -> float:
    """Log of the strength that resists as much as sand of an angle 0.3 m down, over 40 kPa, by hand."""
    tangent = math.tan(math.radians(angle))
    bearing = math.exp(math.pi * tangent) * math.tan(math.radians(45.0 + angle / 2.0)) ** 2 * (1.0 + tangent)
    return math.log(10.0 * 0.3 * bearing / 9.0 / 40.0)


def test_index_of_coarse_ground_is_worked_out_from_its_angles():
    # γ' z N_q s_q / 9 on the scale of clay (computed); 0.25 for that mapping, 0.3 and 0.4 for gravel's grains
    # (choice and common practice); a class is spread evenly, so its width over √12.
    low, high = granular(37.0), granular(41.0)
    index, spread = strength_index("gravel", "dense", "iso_14688_2")
    assert index == pytest.approx(0.5 * (low + high) + 0.4, rel=1e-12)
    assert spread == pytest.approx(math.sqrt((high - low) ** 2 / 12.0 + 0.25**2 + 0.3**2), rel=1e-12)
    guessed = strength_index("gravel", "dense", "iso_14688_2", strength_basis="guess")[1]
    assert guessed == pytest.approx(
        math.sqrt((high - low) ** 2 / 12.0 + 0.25**2 + 0.3**2 + 0.3**2), rel=1e-12
    )
    # Without a class the middle one, spread by 0.7.
    index, spread = strength_index("sand", "", "iso_14688_2")
    assert index == pytest.approx(0.5 * (granular(31.0) + granular(36.0)), rel=1e-12)
    assert spread == pytest.approx(math.sqrt(0.7**2 + 0.25**2), rel=1e-12)
    # An angle that was measured, by a vane 0.2 and else 0.4; half of that on the log scale of resistance.
    index, spread = strength_index("sand", "loose", "iso_14688_2", friction_angle_deg=33.0)
    assert index == pytest.approx(granular(33.0), rel=1e-12)
    assert spread == pytest.approx(math.hypot(0.25, 0.5 * 0.4), rel=1e-12)


def test_the_least_strength_is_still_one():
    index, _ = strength_index("silt", "", "bs_5930", undrained_strength_kpa=0.01)
    assert index == pytest.approx(math.log(0.01 / 40.0))


def test_coarser_grains_resist_more_and_rock_most():
    indices = [strength_index(soil, "dense", "iso_14688_2")[0] for soil in ("sand", "gravel", "cobble")]
    assert (np.diff([*indices, strength_index("rock", "", "iso_14688_2")[0]]) > 0).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: strength_class("clay", "sofft", "bs_5930"), r"'sofft'; .*did you mean 'soft'\?"),
        (lambda: strength_class("clay", "soft", "iso_14688_2"), r"strength \(iso_14688_2, clay\) is 'soft'"),
        (lambda: strength_class("sand", "medium dense", "bs_5930"), r"did you mean 'medium_dense'\?"),
        (
            lambda: strength_index("clay", "low", "iso 14688-2"),
            r"strength_scheme .* did you mean 'iso_14688_2'",
        ),
        (lambda: strength_index("mud", "low", "iso_14688_2"), r"soil is 'mud'; it must be one of clay, silt"),
        (lambda: class_names("rock", "iso_14688_2"), r"soil is 'rock'; it must be clay, silt, sand"),
        (
            lambda: strength_index("clay", "", "bs_5930", undrained_strength_kpa=-3.0),
            r"undrained_strength_kpa is -3; it must be above 0 kPa",
        ),
        (lambda: surcharge_factor(60.0), r"friction_angle_deg is 60; it must be between 0 and 50 deg"),
        (lambda: implied_bearing_factor(0.0, 10.0, 0.1), r"capacity_n is 0; it must be above 0 N"),
        (
            lambda: implied_bearing_factor(9.0, 0.0, 0.1),
            r"undrained_strength_kpa is 0; it must be above 0 kPa",
        ),
        (lambda: implied_bearing_factor(9.0, 10.0, 0.0), r"area_m2 is 0; it must be above 0 m2"),
        (lambda: implied_surcharge_factor(0.0, 0.1), r"capacity_n is 0; it must be above 0 N"),
        (lambda: implied_surcharge_factor(9.0, 0.0), r"area_m2 is 0; it must be above 0 m2"),
        (lambda: theory_doubt(2.0, 1.0, 13.0), r"low is 2; it must be at most high, 1"),
        (lambda: bearing_integral_n(-1.0, 0.01, 2.0), r"depth_m is -1; it must be 0 m or above"),
        (lambda: bearing_integral_n(1.0, 0.0, 2.0), r"bar_diameter_m is 0; it must be above 0 m"),
        (lambda: share_taken_by_chain(1.0, 1e6), r"load_at_mudline_n is 1; it must be above"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(PhysicsError, match=message):
        call()


def test_surcharge_factors_are_those_of_the_design_tables():
    # N_q of a strip: AASHTO 1996 as printed in FHWA GEC 6, table 5-1 (read in geotech-references), to
    # one decimal; times 1 + tan φ for a square (De Beer 1970, value from memory).
    for angle in range(0, 46, 5):
        shape = 1.0 + math.tan(math.radians(angle))
        printed = table_5_1_bearing_capacity_factors(angle)["Nq"]
        assert surcharge_factor(float(angle)) / shape == pytest.approx(printed, abs=0.051)
    # Prandtl and Reissner at 30 degrees (computed).
    assert surcharge_factor(30.0) / (1 + math.tan(math.radians(30.0))) == pytest.approx(18.401, abs=5e-4)


def test_strength_limits_are_near_those_of_a_trenching_manual():
    # Unconfined strength q_u = 2 s_u in psf: a trenching manual, table 3-3 (read in geotech-references).
    for row in table_3_3_cohesive_properties()["rows"]:
        word = row["consistency"].lower().replace("medium stiff", "medium").replace(" ", "_")
        low, high = (row[f"unconfined_compressive_strength_psf_{end}"] for end in ("min", "max"))
        entry = strength_class("clay", word, "terzaghi_peck")
        if low:
            assert entry.low == pytest.approx(low / 2 * 0.04788026, rel=0.05)
        if high:
            assert entry.high == pytest.approx(high / 2 * 0.04788026, rel=0.05)


def test_densities_angles_and_weight_are_those_of_a_trenching_manual():
    # Same manual, table 3-1 (read in geotech-references); its limits are whole numbers, 16 after 15.
    weights = []
    for row in table_3_1_granular_properties()["rows"]:
        entry = strength_class("sand", row["apparent_density"].lower().replace(" ", "_"), "iso_14688_2")
        low, high = map(int, row["relative_density_pct"].split("-"))
        assert (entry.low, entry.high) == (low and low - 1, high)
        angles = {"low": row["friction_angle_min_deg"], "high": row["friction_angle_max_deg"]}
        for end, angle in angles.items():
            assert angle in (None, getattr(entry, f"friction_angle_{end}_deg"))
        weights += [row["unit_weight_submerged_pcf_min"]]
    # 1 lb/ft³ is 0.157087 kN/m³ (exact by definition); on the loose side of the lower ends.
    assert min(weights) * 0.157087 < SUBMERGED_UNIT_WEIGHT_KPA_PER_M < max(weights) * 0.157087


def test_implied_factors():
    # N_c = T / (s_u A): 9 on 10 kPa and 0.1 m² is 9 kN; one fluke length of sand of 10 kN/m³ (computed).
    assert implied_bearing_factor(9_000.0, 10.0, 0.1) == pytest.approx(9.0, rel=1e-12)
    assert implied_surcharge_factor(10_000.0 * 0.1**1.5 * 7.0, 0.1) == pytest.approx(7.0)
    # Martin & Randolph 2001, deep rough circle (value from memory), below the plastic limit 4 π + 5%.
    assert pytest.approx(13.11) == NC_DEEP_CIRCLE_ROUGH


def test_theory_is_doubted_only_when_the_whole_band_is_beyond():
    assert theory_doubt(5.0, 40.0, NC_DEEP_CIRCLE_ROUGH) == ""
    assert "above the 13.1 that theory allows" in theory_doubt(20.0, 40.0, NC_DEEP_CIRCLE_ROUGH)


def test_a_capacity_beyond_theory_is_doubted():
    # Deep rough circle 13.11 (Martin & Randolph 2001, from memory) at the strong end of the class, 40 kPa.
    limit = 13.11 * 40_000.0 * 0.05
    assert capacity_doubt("clay", "low", "iso_14688_2", (0.8 * limit, 3 * limit), 0.05) == ""
    assert "13.1 that theory allows" in capacity_doubt(
        "clay", "low", "iso_14688_2", (1.1 * limit, 3 * limit), 0.05
    )
    measured = capacity_doubt(
        "clay", "low", "iso_14688_2", (0.5 * limit, limit), 0.05, undrained_strength_kpa=10.0
    )
    assert "bearing factor of 26.2 to 52.4" in measured
    assert "theory allows" in capacity_doubt("sand", "loose", "iso_14688_2", (2e5, 3e5), 0.05)
    assert capacity_doubt("sand", "dense", "iso_14688_2", (3e3, 6e3), 0.05) == ""
    assert capacity_doubt("sand", "dense", "iso_14688_2", (3e3, 2e5), 0.05) == ""
    for soil, strength, area in (("rock", "", 0.05), ("clay", "", 0.05), ("clay", "low", math.nan)):
        assert capacity_doubt(soil, strength, "iso_14688_2", (1e7, 2e7), area) == ""


@pytest.mark.parametrize(
    ("diameter", "gradient", "depth", "load", "closed", "ratio", "full", "mudline"),
    [
        (0.010, 2.0, 1.5, 2_000.0, 37.46198, 1.298921, 36.46441, 1.289390),
        (0.076, 1.5, 20.0, 2.0e6, 37.71090, 1.301180, 36.70381, 1.291547),
    ],
)
def test_buried_chain_against_closed_form_and_integration(
    diameter, gradient, depth, load, closed, ratio, full, mudline
):
    # Neubecker & Randolph 1995 (from memory); numbers worked out from it, the last by an integration.
    integral = bearing_integral_n(depth, diameter, gradient)
    small_angle, small_ratio = buried_chain(load, integral, 0.4)
    assert (math.degrees(small_angle), small_ratio) == pytest.approx((closed, ratio), abs=5e-6)
    angle, exact_ratio = buried_chain_exact(load, integral, 0.4)
    assert math.degrees(angle) == pytest.approx(full, abs=2e-4)
    # The integration that these ratios are from stopped at a milliradian, as the one below does.
    assert exact_ratio * math.exp(-0.4e-3) == pytest.approx(mudline, abs=5e-6)

    def along(_, state):
        tension, turn, z = state
        normal = 2.5 * diameter * 7.6 * 1000.0 * gradient * max(z, 0.0)
        return [0.4 * normal, -normal / tension, -math.sin(turn)]

    # The chain meets the mudline at no angle and ever more slowly, so stop at a milliradian.
    def level(_, state):
        return state[1] - 1e-3

    level.terminal = True
    fine = {"rtol": 1e-9, "atol": 1e-9}
    end = solve_ivp(along, (0.0, 40 * depth), [load, angle, depth], events=level, **fine).y[:, -1]
    assert 0.0 < end[2] < 0.005 * depth
    assert end[0] / load == pytest.approx(exact_ratio * math.exp(-0.4e-3), rel=1e-6)
    assert share_taken_by_chain(load * exact_ratio, integral) == pytest.approx(1 - 1 / exact_ratio, rel=1e-9)


@given(st.floats(0, 2), st.floats(0.1, 2), st.floats(0.006, 0.014), st.floats(500, 5000))
def test_deeper_chain_takes_more(depth, more, diameter, load):
    integrals = [bearing_integral_n(z, diameter, 2.0) for z in (depth, depth + more)]
    shallow, deep = (share_taken_by_chain(load + 20_000, integral) for integral in integrals)
    assert 0.0 <= shallow < deep < 1.0


def test_buried_chain_is_negligible_for_a_small_anchor_just_under_the_mud():
    # 8 mm chain, soft clay of 1.9 kPa/m (NCEL TDS 83-08R, read), half a metre down, 5 kN.
    share = share_taken_by_chain(5000.0, bearing_integral_n(0.5, 0.008, 1.9))
    assert share < NEGLIGIBLE_SHARE


@pytest.mark.parametrize(("index", "spread"), [(-1.2, 0.3), (0.0, 0.5), (0.35, 0.2), (-0.29, 0.9)])
def test_how_far_clay_is_soft_is_a_probability(index, spread):
    soft, firm, sand = angle_shares("clay", index, spread)
    assert soft == pytest.approx(norm.cdf(0.0, index, spread), abs=1e-12)
    assert soft + firm == pytest.approx(1.0)
    assert sand == 0.0


def test_on_rock_an_angle_has_no_effect_and_an_unknown_soil_is_refused():
    assert angle_shares("rock", 2.0, 0.8) == (0.0, 0.0, 0.0)
    assert angle_shares("gravel", 1.0, 0.3) == (0.0, 0.0, 1.0)
    with pytest.raises(PhysicsError, match="peat"):
        angle_shares("peat", 0.0, 0.3)

"""Soils, strength index, bearing and buried chain against published tables and an independent integration."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from holdcast.physics.errors import PhysicsError
from holdcast.physics.ground.bearing import (
    NC_DEEP_CIRCLE_ROUGH,
    NC_DEEP_CIRCLE_SMOOTH,
    NC_DEEP_STRIP_ROUGH,
    NC_SURFACE_STRIP,
    break_out_factor_square,
    break_out_load_n,
    fluke_capacity_n,
    implied_bearing_factor,
    implied_surcharge_factor,
    surcharge_factor,
    theory_doubt,
)
from holdcast.physics.ground.soils import SCHEMES, SOILS, class_names, class_of, strength_class
from holdcast.physics.ground.strength_index import strength_index
from holdcast.physics.rode.buried_chain import (
    NEGLIGIBLE_SHARE,
    bearing_integral_n,
    closed_form,
    exact_form,
    share_taken_by_chain,
)
from holdcast.physics.tables import read_table
from holdcast.physics.tackle.reasonableness import capacity_doubt

CLASSED = [soil for soil, group in SOILS.items() if group != "rock"]


@pytest.mark.parametrize(
    ("scheme", "word", "low", "high"),
    [
        # EN ISO 14688-2 (limits from memory); BS 5930 and Terzaghi & Peck (limits read).
        ("iso_14688_2", "low", 20, 40),
        ("iso_14688_2", "medium", 40, 75),
        ("iso_14688_2", "very_high", 150, 300),
        ("bs_5930", "soft", 20, 40),
        ("bs_5930", "stiff", 75, 150),
        ("terzaghi_peck", "soft", 12.5, 25),
        ("terzaghi_peck", "firm", 25, 50),
        ("terzaghi_peck", "very_stiff", 100, 200),
    ],
)
def test_undrained_strength_limits(scheme, word, low, high):
    entry = strength_class("clay", word, scheme)
    assert (entry.low, entry.high) == (low, high)
    assert entry.log_mean == pytest.approx(0.5 * math.log(low * high))
    assert entry.log_sd == pytest.approx(math.log(high / low) / math.sqrt(12))


def test_density_limits_and_friction_angles():
    # EM 1110-2-2504 table 3-1 after Teng 1962 (read).
    entry = strength_class("sand", "medium_dense", "iso_14688_2")
    assert (entry.low, entry.high) == (35, 65)
    assert (entry.friction_angle_low_deg, entry.friction_angle_high_deg) == (31, 36)
    assert strength_class("sand", "dense", "bs_5930").friction_angle_high_deg == 41


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("soil", CLASSED)
def test_classes_leave_no_gap_and_read_back(soil, scheme):
    entries = [strength_class(soil, name, scheme) for name in class_names(soil, scheme)]
    for weak, strong in itertools.pairwise(entries):
        assert weak.high == strong.low
    for entry in entries:
        assert class_of(soil, 0.5 * (entry.low + entry.high), scheme) == entry.name
        assert class_of(soil, entry.low or 0.1, scheme) == entry.name


@given(st.sampled_from(CLASSED), st.sampled_from(SCHEMES), st.floats(0.1, 100), st.floats(0, 100))
def test_a_greater_value_is_never_in_a_weaker_class(soil, scheme, value, more):
    names = class_names(soil, scheme)
    larger = min(value + more, 100.0)
    assert names.index(class_of(soil, value, scheme)) <= names.index(class_of(soil, larger, scheme))


def test_even_spread_inside_a_class_has_the_stated_moments():
    # Computed: draws spread evenly on the log scale between the limits.
    entry = strength_class("silt", "medium", "iso_14688_2")
    logs = np.linspace(math.log(40), math.log(75), 100_001)
    assert entry.log_mean == pytest.approx(logs.mean())
    assert entry.log_sd == pytest.approx(logs.std(), rel=1e-4)
    assert entry.mean == pytest.approx(np.exp(logs).mean(), rel=2e-3)


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
        (lambda: class_of("clay", 0.0, "bs_5930"), r"undrained_strength_kpa is 0; it must be above 0 kPa"),
        (lambda: class_of("sand", 120.0, "bs_5930"), r"relative_density_pct is 120; .* between 0 and 100 %"),
        (
            lambda: strength_index("clay", "", "bs_5930", undrained_strength_kpa=-3.0),
            r"undrained_strength_kpa is -3; it must be above 0 kPa",
        ),
        (lambda: surcharge_factor(60.0), r"friction_angle_deg is 60; it must be between 0 and 50 deg"),
        (lambda: break_out_factor_square(5.0), r"depth_ratio is 5; it must be between 0 and 4"),
        (lambda: fluke_capacity_n(10.0, 0.0, 9.0), r"area_m2 is 0; it must be above 0 m2"),
        (lambda: implied_bearing_factor(0.0, 10.0, 0.1), r"capacity_n is 0; it must be above 0 N"),
        (lambda: theory_doubt(2.0, 1.0, 13.0), r"low is 2; it must be at most high, 1"),
        (lambda: bearing_integral_n(-1.0, 0.01, 2.0), r"depth_m is -1; it must be 0 m or above"),
        (lambda: bearing_integral_n(1.0, 0.0, 2.0), r"bar_diameter_m is 0; it must be above 0 m"),
        (lambda: closed_form(0.0, 10.0), r"load_at_padeye_n is 0; it must be above 0 N"),
        (lambda: exact_form(1.0, 1e6), r"load_at_padeye_n is 1; it must be above .* to reach this depth"),
        (lambda: share_taken_by_chain(1.0, 1e6), r"load_at_mudline_n is 1; it must be above"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(PhysicsError, match=message):
        call()


def test_bearing_factors():
    # Prandtl 5.1416 and deep rough strip 11.4248 (computed); circles by Martin & Randolph 2001 (from memory).
    assert pytest.approx(5.1416, abs=5e-5) == NC_SURFACE_STRIP
    assert pytest.approx(11.4248, abs=5e-5) == NC_DEEP_STRIP_ROUGH
    assert NC_DEEP_STRIP_ROUGH < NC_DEEP_CIRCLE_SMOOTH < NC_DEEP_CIRCLE_ROUGH < 4 * math.pi * 1.05
    # N_q of a strip at 30 degrees is 18.40 in any textbook (Prandtl and Reissner, computed).
    assert surcharge_factor(30.0) / (1 + math.tan(math.radians(30.0))) == pytest.approx(18.401, abs=5e-4)
    assert surcharge_factor(0.0) == pytest.approx(1.0, rel=1e-12)


def test_break_out_of_a_square_plate():
    # Meyerhof & Adams 1968, worked table (read): factors within 1%, loads at 17.0 kN/m³ within 1%.
    for row in read_table("break_out_sand"):
        ratio, factor = float(row["depth_ratio"]), float(row["factor_square"])
        assert break_out_factor_square(ratio) == pytest.approx(factor, rel=0.01)
        load = break_out_load_n(17_000.0, 0.01, 0.1 * ratio, factor)
        assert load == pytest.approx(float(row["pull_out_n"]), rel=0.01)
    assert break_out_factor_square(0.0) == 1.0


@given(st.floats(1, 300), st.floats(0.01, 1), st.floats(1, 13))
def test_implied_bearing_factor_undoes_the_capacity(strength, area, factor):
    capacity = fluke_capacity_n(strength, area, factor)
    assert implied_bearing_factor(capacity, strength, area) == pytest.approx(factor, rel=1e-12)


def test_theory_is_doubted_only_when_the_whole_band_is_beyond():
    assert theory_doubt(5.0, 40.0, NC_DEEP_CIRCLE_ROUGH) == ""
    assert "above the 13.1 that theory allows" in theory_doubt(20.0, 40.0, NC_DEEP_CIRCLE_ROUGH)
    assert implied_surcharge_factor(9500.0 * 0.1**1.5 * 7.0, 0.1) == pytest.approx(7.0)


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
    for soil, strength, area in (("rock", "", 0.05), ("clay", "", 0.05), ("clay", "low", math.nan)):
        assert capacity_doubt(soil, strength, "iso_14688_2", (1e7, 2e7), area) == ""


@pytest.mark.parametrize(
    ("diameter", "gradient", "depth", "load", "closed", "ratio", "full"),
    [
        (0.010, 2.0, 1.5, 2_000.0, 37.46198, 1.298921, 36.46441),
        (0.076, 1.5, 20.0, 2.0e6, 37.71090, 1.301180, 36.70381),
    ],
)
def test_buried_chain_against_closed_form_and_integration(
    diameter, gradient, depth, load, closed, ratio, full
):
    # Neubecker & Randolph 1995 (from memory); numbers worked out from it, the last by an integration.
    integral = bearing_integral_n(depth, diameter, gradient)
    assert closed_form(load, integral) == pytest.approx((closed, ratio), abs=5e-6)
    angle, exact_ratio = exact_form(load, integral)
    assert angle == pytest.approx(full, abs=2e-4)

    def along(_, state):
        tension, turn, z = state
        normal = 2.5 * diameter * 7.6 * 1000.0 * gradient * max(z, 0.0)
        return [0.4 * normal, -normal / tension, -math.sin(turn)]

    # The chain meets the mudline at no angle and ever more slowly, so stop at a milliradian.
    def level(_, state):
        return state[1] - 1e-3

    level.terminal = True
    start = [load, math.radians(angle), depth]
    end = solve_ivp(along, (0.0, 40 * depth), start, events=level, rtol=1e-9, atol=1e-9).y[:, -1]
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

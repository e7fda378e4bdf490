"""Rodes of chain and rope against closed forms, an integration and practice."""

import numpy as np
import pytest
from closed_forms import touch_down_distance, touch_down_length
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from holdcast.physics.errors import PhysicsError
from holdcast.physics.rode.catenary import bar_tight_angle_deg, submerged_weight_n_per_m
from holdcast.physics.rode.loads import (
    fall_shape_log_slope,
    load_at_anchor,
    load_on_rode,
    state_at_anchor_load,
    state_at_bow_load,
    uplift_angle_deg,
)
from holdcast.physics.rode.make_up import make_rode, minimum_bow_load_n
from holdcast.physics.rode.uplift import fall_shape, log_uplift_factor

WEIGHT = submerged_weight_n_per_m(1.40)


def test_worked_example():
    # Lecture notes on the design of ocean systems, 2011 (read): 1510 kN at the top, 828 N/m in water and 25 m
    # ask for 300.93 m; horizontal load 1489.3 kN and reach 299.5430 m computed from it.
    mass = 828.0 / (9.80665 * (1.0 - 1025.0 / 7850.0))
    state = state_at_bow_load(1_510e3, make_rode(25.0, 400.0, mass))
    assert state.lifted_length_m == pytest.approx(300.93, abs=0.005)
    assert state.horizontal_n == pytest.approx(1_489_300.0, rel=1e-9)
    assert state.distance_m - state.lying_length_m == pytest.approx(299.5430, abs=5e-5)
    assert uplift_angle_deg(state.load_at_anchor_n, make_rode(25.0, 300.93, mass)) == 0.0
    assert uplift_angle_deg(1_489_300.0, make_rode(25.0, 300.9, mass)) > 0.0


@pytest.mark.parametrize(
    ("horizontal", "height", "length", "distance", "top"),
    [
        (1000, 5, 29.3727, 28.8020, 1059.683),
        (1000, 10, 42.1369, 40.5364, 1119.366),
        (2000, 5, 41.2373, 40.8319, 2059.683),
        (2000, 10, 58.7455, 57.6040, 2119.366),
        (4000, 10, 82.4746, 81.6639, 4119.366),
    ],
)
def test_small_boat_set_lies_as_the_closed_form_says_and_loses_friction(
    horizontal, height, length, distance, top
):
    # Closed forms for chain of 1.40 kg/m in air, steel 7850, sea water 1025 kg/m³ (computed); 10 m more lie.
    assert pytest.approx(11.93663, abs=5e-6) == WEIGHT
    assert touch_down_length(horizontal, 11.93663, height) == pytest.approx(length, abs=5e-5)
    assert touch_down_distance(horizontal, 11.93663, height) == pytest.approx(distance, abs=5e-5)
    state = state_at_bow_load(top, make_rode(height, length + 10.0, 1.40))
    assert state.horizontal_n == pytest.approx(horizontal, rel=1e-6)
    assert state.lifted_length_m == pytest.approx(length, abs=2e-4)
    assert state.distance_m == pytest.approx(distance + 10.0, abs=4e-4)
    assert state.uplift_angle_deg == 0.0
    # Friction of chain 0.75 of its weight in water: mooring guides give 0.7 to 1.0 (value from memory).
    assert state.load_at_anchor_n == pytest.approx(horizontal - 0.75 * 11.93663 * 10.0, rel=1e-6)


@pytest.mark.parametrize("stiffness", [(np.inf, np.inf), (5e5, 2e4)])
@pytest.mark.parametrize("load", [150.0, 700.0, 4000.0])
def test_against_step_by_step_integration(load, stiffness):
    # Independent witness: scipy integrates force balance along chain then heavy rope from the anchor up.
    rode = make_rode(5.0, 28.0, 1.40, 8.0, bow_height_m=1.0, rope_weight_n_per_m=0.3, stiffness_n=stiffness)
    state = state_at_bow_load(load, rode)
    horizontal, start = float(state.horizontal_n), float(state.lying_length_m)
    up = horizontal * np.tan(np.radians(float(state.uplift_angle_deg)))

    def along(s, xzv):
        heavy = s < 8.0
        tension = np.hypot(horizontal, xzv[2])
        stretch = 1.0 + tension / stiffness[0 if heavy else 1]
        return [horizontal / tension * stretch, xzv[2] / tension * stretch, WEIGHT if heavy else 0.3]

    state_vector = [0.0, 0.0, up]
    for begin, end in ((start, 8.0), (8.0, 28.0)):
        state_vector = solve_ivp(along, (begin, end - 1e-9), state_vector, rtol=1e-10, atol=1e-10).y[:, -1]
    assert state_vector[1] == pytest.approx(6.0, abs=1e-6)
    assert state_vector[0] + start == pytest.approx(float(state.distance_m), abs=1e-6)
    assert np.hypot(horizontal, state_vector[2]) == pytest.approx(load, rel=1e-7)


def test_weightless_rope_alone_is_a_straight_line():
    rode = make_rode(4.0, 20.0, np.nan, 0.0)
    assert uplift_angle_deg(500.0, rode) == pytest.approx(bar_tight_angle_deg(5.0), rel=1e-9)
    assert load_at_anchor(500.0, rode) == pytest.approx(500.0, rel=1e-12)


def test_bow_and_anchor_agree_in_both_directions():
    rode = make_rode(5.0, 30.0, 1.40, np.array([30.0, 10.0, 3.0, 0.0]), bow_height_m=1.2)
    at_anchor = load_at_anchor(900.0, rode)
    back = state_at_anchor_load(at_anchor, rode)
    np.testing.assert_allclose(back.load_at_bow_n, 900.0, rtol=1e-9)
    np.testing.assert_allclose(
        back.uplift_angle_deg, state_at_bow_load(900.0, rode).uplift_angle_deg, atol=1e-8
    )
    assert (np.diff(back.uplift_angle_deg) > 0.0).all()


def test_practice_all_chain_pulls_along_the_ground_and_rope_on_light_chain_does_not():
    # Common practice, no source: a few hundred lbf, 5:1 all chain against 3.5:1 of rope on light chain.
    load = 250.0 * 4.448
    all_chain = uplift_angle_deg(load, make_rode(6.0, 35.0, 1.6, bow_height_m=1.0))
    mostly_rope = uplift_angle_deg(load, make_rode(6.0, 24.5, 0.9, 3.0, bow_height_m=1.0))
    assert all_chain < 3.0
    assert mostly_rope > 12.0


rodes = st.builds(
    make_rode,
    st.floats(1, 30),
    st.floats(100, 200),
    st.floats(0.5, 4),
    st.floats(0, 220),
    bow_height_m=st.floats(0, 3),
    rope_weight_n_per_m=st.sampled_from([0.0, 0.4]),
    friction=st.floats(0, 1),
)


@settings(max_examples=60, deadline=None)
@given(rodes, st.floats(0.1, 8000), st.floats(1.0001, 3))
def test_load_and_angle_never_fall_with_the_load_at_the_bow(rode, extra, times):
    bow = minimum_bow_load_n(rode) + np.array([extra, extra * times])
    at_anchor = load_at_anchor(bow, rode)
    angle = uplift_angle_deg(at_anchor, rode)
    assert at_anchor[0] <= at_anchor[1] * (1 + 1e-9)
    assert angle[0] <= angle[1] + 1e-7
    assert (at_anchor <= bow * (1 + 1e-12)).all()
    assert angle[1] <= uplift_angle_deg(np.inf, rode) + 1e-7


@settings(max_examples=30, deadline=None)
@given(st.floats(50, 5000), st.floats(2, 30), st.floats(1.2, 12), st.floats(0.2, 5))
def test_only_load_over_weight_of_depth_counts(load, depth, scope, times):
    # Identity of the catenary: the angle is unchanged when load and weight grow together.
    one = uplift_angle_deg(load, make_rode(depth, depth * scope, 1.4))
    other = uplift_angle_deg(load * times, make_rode(depth, depth * scope, 1.4 * times))
    assert other == pytest.approx(float(one), abs=1e-7)


def test_chain_lifts_where_the_closed_form_says():
    length = touch_down_length(800.0, WEIGHT, 6.0)
    rode = make_rode(6.0, length, 1.40)
    assert uplift_angle_deg(799.0, rode) == 0.0
    assert uplift_angle_deg(801.0, rode) > 0.0


def test_slope_of_the_fall_matches_a_wider_difference():
    rode = make_rode(5.0, 25.0, 1.4, 6.0)
    above, below = (fall_shape(uplift_angle_deg(1000 * np.exp(end), rode)) for end in (0.01, -0.01))
    wide = (above - below) / 0.02
    assert fall_shape_log_slope(1000.0, rode) == pytest.approx(float(wide), rel=1e-3)
    assert fall_shape_log_slope(20.0, make_rode(5.0, 60.0, 1.4)) == 0.0


def test_ends_of_an_interval_are_turned_at_their_own_load():
    rode = make_rode(5.0, 17.5, 1.1, 4.0)
    held, released = uplift_angle_deg(np.array([300.0, np.inf]), rode)
    assert held < released
    assert released == pytest.approx(bar_tight_angle_deg(3.5), rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.floats(100, 20_000), st.floats(0, 1.5), st.floats(2, 10))
def test_load_on_rode_solves_its_equation(capacity, strength, scope):
    rode = make_rode(5.0, 5.0 * scope, 1.4, 6.0)
    load = load_on_rode(capacity, rode, strength)
    turned = np.log(load) - log_uplift_factor(uplift_angle_deg(load, rode), strength)
    assert turned == pytest.approx(np.log(capacity), abs=1e-9)
    assert load <= capacity * (1 + 1e-12)


def test_the_shortest_rode_that_reaches_hangs_straight_down():
    # Chain as long as the depth with bow and no more: the load at the bow less its weight is left (computed).
    rode = make_rode(5.0, 5.05, 1.4)
    assert load_at_anchor(1000.0, rode) == pytest.approx(1000.0 - 5.0 * WEIGHT, rel=2e-3)
    assert uplift_angle_deg(1000.0, rode) == pytest.approx(bar_tight_angle_deg(1.01), abs=0.4)
    straight = make_rode(5.0, 5.0, 1.4)
    assert load_at_anchor(1000.0, straight) == pytest.approx(1000.0 - 5.0 * WEIGHT, rel=1e-9)
    assert uplift_angle_deg(np.inf, straight) == 90.0


def test_endless_and_vanishing_loads():
    rode = make_rode(5.0, 25.0, 1.4)
    np.testing.assert_array_equal(
        load_at_anchor([0.0, 5.0, np.inf], rode, below_weight="zero"), [0, 0, np.inf]
    )
    with pytest.raises(PhysicsError, match=r"load_at_bow_n is 5; the rode cannot reach it: .* 59\.68"):
        load_at_anchor(5.0, rode)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: make_rode(-2.0, 20.0, 1.4), r"depth_m is -2; it must be above 0 m"),
        (lambda: make_rode(2.0, 20.0, 0.0), r"chain_kg_per_m is 0; it must be above 0 kg/m"),
        (lambda: make_rode(5.0, 4.5, 1.4), r"scope is 0.9; it must be 1 or above"),
        (lambda: make_rode(5.0, 25.0, 1.4, -1.0), r"chain_length_m is -1; it must be 0 m or above"),
        (
            lambda: make_rode(5.0, 25.0, 1.4, bow_height_m=-1.0),
            r"bow_height_m is -1; it must be 0 m or above",
        ),
        (lambda: make_rode(5.0, 25.0, 1.4, friction=-0.1), r"friction is -0.1; it must be 0 or above"),
        (
            lambda: make_rode(5.0, 25.0, 1.4, stiffness_n=(0.0, 1.0)),
            r"stiffness_n is 0; it must be above 0 N",
        ),
        (
            lambda: uplift_angle_deg(-1.0, make_rode(5.0, 25.0, 1.4)),
            r"load_at_anchor_n is -1; it must be 0 N",
        ),
        (
            lambda: fall_shape_log_slope(0.0, make_rode(5.0, 25.0, 1.4)),
            r"load_at_anchor_n is 0; .* above 0 N",
        ),
        (
            lambda: load_on_rode(0.0, make_rode(5.0, 25.0, 1.4), 0.5),
            r"horizontal_capacity_n is 0; .* above 0 N",
        ),
        (
            lambda: load_on_rode(9.0, make_rode(5.0, 25.0, 1.4), -0.5),
            r"strength_of_fall is -0.5; .* 0 or above",
        ),
        (lambda: load_at_anchor(np.nan, make_rode(5.0, 25.0, 1.4)), r"load_at_bow_n is nan"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(PhysicsError, match=message):
        call()

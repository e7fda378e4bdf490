"""Closed forms of the hanging chain against published and worked-out values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from holdcast.physics.errors import PhysicsError
from holdcast.physics.rode.catenary import (
    bar_tight_angle_deg,
    length_for_load_at_top_m,
    load_at_top_n,
    segment_distance_m,
    segment_rise_m,
    submerged_weight_n_per_m,
    touch_down_distance_m,
    touch_down_length_m,
)


def test_worked_example():
    # Lecture notes on the design of ocean systems, 2011 (read): 300.93 m; the rest computed from it.
    length = length_for_load_at_top_m(1_510e3, 828.0, 25.0)
    assert length == pytest.approx(300.93, abs=0.005)
    horizontal = 1_510e3 - 828.0 * 25.0
    assert horizontal == pytest.approx(1_489_300.0)
    assert touch_down_length_m(horizontal, 828.0, 25.0) == pytest.approx(length, rel=1e-12)
    assert touch_down_distance_m(horizontal, 828.0, 25.0) == pytest.approx(299.5430, abs=5e-5)
    assert np.hypot(horizontal, 828.0 * length) == pytest.approx(1_510e3, rel=1e-12)


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
def test_small_boat_set(horizontal, height, length, distance, top):
    # Closed forms worked out for chain of 1.40 kg/m in air (computed).
    weight = submerged_weight_n_per_m(1.40)
    assert weight == pytest.approx(11.93663, abs=5e-6)
    assert touch_down_length_m(horizontal, weight, height) == pytest.approx(length, abs=5e-5)
    assert touch_down_distance_m(horizontal, weight, height) == pytest.approx(distance, abs=5e-5)
    assert load_at_top_n(horizontal, weight, height) == pytest.approx(top, abs=5e-4)


@given(st.floats(1, 1e5), st.floats(1, 500), st.floats(0.5, 50), st.floats(0.1, 10))
def test_scope_depends_on_load_over_weight_of_depth_alone(horizontal, weight, height, times):
    # Identity: scaling load and w·h together leaves the scope unchanged.
    one = touch_down_length_m(horizontal, weight, height) / height
    other = touch_down_length_m(horizontal * times, weight, height * times) / (height * times)
    assert other == pytest.approx(one, rel=1e-12)


@given(st.floats(1, 1e4), st.floats(0, 1e4), st.floats(1, 200), st.floats(0, 50))
def test_a_piece_is_no_longer_than_its_length(horizontal, start, length, weight):
    end = start + weight * length
    rise = segment_rise_m(horizontal, start, end, length, np.inf)
    reach = segment_distance_m(horizontal, start, end, length, np.inf)
    assert np.hypot(rise, reach) <= length * (1 + 1e-9)
    assert rise >= 0.0


def test_a_weightless_piece_is_straight():
    assert segment_rise_m(3.0, 4.0, 4.0, 10.0, np.inf) == pytest.approx(8.0)
    assert segment_distance_m(3.0, 4.0, 4.0, 10.0, np.inf) == pytest.approx(6.0)
    assert segment_rise_m(0.0, 0.0, 0.0, 10.0, np.inf) == 0.0


def test_elastic_piece_matches_textbook_form():
    # Irvine 1981 / Faltinsen 1990 (from memory): x and z of a line that starts level at the bottom.
    load, weight, length, stiffness = 2000.0, 12.0, 60.0, 4e5
    x = load / weight * np.arcsinh(weight * length / load) + load * length / stiffness
    z = load / weight * (np.sqrt(1 + (weight * length / load) ** 2) - 1) + weight * length**2 / (
        2 * stiffness
    )
    assert segment_distance_m(load, 0.0, weight * length, length, stiffness) == pytest.approx(x, rel=1e-12)
    assert segment_rise_m(load, 0.0, weight * length, length, stiffness) == pytest.approx(z, rel=1e-12)


def test_bar_tight_angles():
    # asin(1/scope), computed; printed beside an anchor maker's table (read) as 30, 19.5, 14, 9.5, 7, 5, 2.8.
    scopes = np.array([2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 20.0])
    angles = bar_tight_angle_deg(scopes)
    np.testing.assert_allclose(angles, [30.0, 19.471, 14.478, 9.594, 7.181, 5.739, 2.866], atol=6e-4)
    assert (np.diff(angles) < 0).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: submerged_weight_n_per_m(0.0), r"chain_kg_per_m is 0; it must be above 0 kg/m"),
        (lambda: touch_down_length_m(-1.0, 10.0, 5.0), r"horizontal_n is -1; it must be 0 N or above"),
        (lambda: touch_down_length_m(1.0, 0.0, 5.0), r"weight_n_per_m is 0; it must be above 0 N/m"),
        (lambda: load_at_top_n(1.0, 10.0, -5.0), r"height_m is -5; it must be above 0 m"),
        (lambda: touch_down_distance_m(0.0, 10.0, 5.0), r"horizontal_n is 0; it must be above 0 N"),
        (lambda: length_for_load_at_top_m(40.0, 10.0, 5.0), r"load_n is 40; it must be at least 50 N"),
        (lambda: bar_tight_angle_deg(0.9), r"scope is 0.9; it must be 1 or above"),
        (lambda: bar_tight_angle_deg(np.nan), r"scope is nan; it must be 1 or above"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(PhysicsError, match=message):
        call()

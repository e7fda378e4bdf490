"""Closed forms of the hanging chain against published and worked-out values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from holdcast.physics.errors import PhysicsError
from holdcast.physics.rode.catenary import (
    bar_tight_angle_deg,
    segment_distance_m,
    segment_rise_m,
    submerged_weight_n_per_m,
)


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
    assert bar_tight_angle_deg(np.array([1.0, 1.01])) == pytest.approx([90.0, 81.931], abs=5e-4)  # computed


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: submerged_weight_n_per_m(0.0), r"chain_kg_per_m is 0; it must be above 0 kg/m"),
        (lambda: bar_tight_angle_deg(0.9), r"scope is 0.9; it must be 1 or above"),
        (lambda: bar_tight_angle_deg(np.nan), r"scope is nan; it must be 1 or above"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(PhysicsError, match=message):
        call()

"""The floor of an anchor's own weight, by hand."""

import math

import numpy as np
import pytest

from holdcast.physics.errors import PhysicsError
from holdcast.physics.tackle.own_weight import own_weight_floor_n


def test_along_the_bottom_it_is_friction_times_the_weight_in_water():
    """By hand: tan 15 degrees is 2 - root 3 (an identity), and steel loses 1025 of 7850 in sea water."""
    assert own_weight_floor_n(100.0) == pytest.approx((2.0 - math.sqrt(3.0)) * 100.0 * (7850 - 1025) / 7850)


def test_upwards_it_is_the_weight_and_least_at_the_angle_of_friction():
    """At 90 degrees the pull lifts it; the least tension is at the angle of friction (both identities)."""
    in_water = 100.0 * (7850 - 1025) / 7850
    assert own_weight_floor_n(100.0, 90.0) == pytest.approx(in_water)
    angles = np.linspace(0.0, 90.0, 901)
    floors = own_weight_floor_n(100.0, angles)
    assert angles[floors.argmin()] == pytest.approx(15.0, abs=0.05)
    assert floors.min() == pytest.approx(in_water * math.sin(math.radians(15.0)))


def test_bad_input_is_named():
    with pytest.raises(PhysicsError, match="weight_n is -1"):
        own_weight_floor_n(-1.0)
    with pytest.raises(PhysicsError, match="angle_deg is 91"):
        own_weight_floor_n(1.0, 91.0)

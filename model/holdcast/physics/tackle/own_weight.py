"""What an anchor's own weight resists by sliding, dug in or not.

Signatures::

    own_weight_floor_n(weight_n, angle_deg=0.0) -> number or array
"""

import numpy as np

from holdcast.physics.elementwise import Values
from holdcast.physics.errors import not_negative, within
from holdcast.physics.rode.catenary import SEA_WATER_DENSITY, STEEL_DENSITY

__all__ = ["LEAST_FRICTION_ANGLE_DEG", "own_weight_floor_n"]

LEAST_FRICTION_ANGLE_DEG = 15.0
"""Angle of friction of steel on ground, the least in use: steel piles in very loose sand (API RP 2A, value
from memory).  At the low end, so that the floor lies below what any anchor slides at."""


def own_weight_floor_n(weight_n: Values, angle_deg: Values = 0.0) -> Values:
    """Return the least tension at which an anchor that lies on the ground slides [N].

    Parameters
    ----------
    weight_n : number or array
        Weight in air [N], 0 or more.
    angle_deg : number or array
        Angle of the pull above the bottom [deg], 0 to 90.

    Raises
    ------
    PhysicsError
        When the weight is negative or the angle is outside its range.

    Notes
    -----
    T = μ W' / (cos α + μ sin α) with W' the weight in sea water: Coulomb friction on a flat bottom, the pull
    taking part of the weight (balance of forces, computed).
    """
    not_negative("weight_n", weight_n, "N")
    within("angle_deg", angle_deg, 0.0, 90.0, "deg")
    angle, friction = np.radians(angle_deg), np.tan(np.radians(LEAST_FRICTION_ANGLE_DEG))
    in_water = weight_n * (1.0 - SEA_WATER_DENSITY / STEEL_DENSITY)
    return friction * in_water / (np.cos(angle) + friction * np.sin(angle))

"""What the ground can bear: the factor that a capacity implies, and the most that theory allows.

Signatures::

    implied_bearing_factor(capacity_n, undrained_strength_kpa, area_m2)
    surcharge_factor(friction_angle_deg)                   N_q of a footing
    implied_surcharge_factor(capacity_n, area_m2)
    theory_doubt(low, high, limit) -> str                  "" when theory allows part of the band
"""

import numpy as np

from holdcast.physics.elementwise import Values
from holdcast.physics.errors import PhysicsError, positive, within

__all__ = [
    "GREATEST_FRICTION_ANGLE_DEG",
    "NC_DEEP_CIRCLE_ROUGH",
    "NC_REMOULDED",
    "SUBMERGED_UNIT_WEIGHT_KPA_PER_M",
    "implied_bearing_factor",
    "implied_surcharge_factor",
    "surcharge_factor",
    "theory_doubt",
]

NC_DEEP_CIRCLE_ROUGH = 13.11
"""Deep rough circular plate [1]: Martin & Randolph 2001 (value from memory); the most that theory allows."""
NC_REMOULDED = 9.0
"""Design value for plates in clay that was dragged through [1] (value from memory)."""
SUBMERGED_UNIT_WEIGHT_KPA_PER_M = 10.0
"""γ' of sand and coarser soils under water [kN/m³]: 60 to 85 lb/ft³, 9.4 to 13.4 kN/m³ (EM 1110-2-2504, table
3-1, read), loose side."""
GREATEST_FRICTION_ANGLE_DEG = 50.0
"""Friction angle up to which the surcharge factor is used [deg] (a choice): it nearly doubles in the last
three degrees, and dense gravel hardly has more (common practice, no source)."""


def implied_bearing_factor(capacity_n: Values, undrained_strength_kpa: Values, area_m2: Values) -> Values:
    r"""Return the bearing factor that a capacity in clay or silt implies.

    .. math:: N_c = T / (s_u A)

    Parameters
    ----------
    capacity_n : number or array
        T [N], above 0.
    undrained_strength_kpa : number or array
        s_u at the fluke [kPa], above 0.
    area_m2 : number or array
        A, fluke area [m²], above 0.

    Returns
    -------
    number or array
        N_c [1].  Theory allows up to `NC_DEEP_CIRCLE_ROUGH`; small values are no fault, as a fluke need
        not be buried.  Form: Merifield et al. 2003 (value from memory); undrained.

    Raises
    ------
    PhysicsError
        When an argument is not above 0.
    """
    positive("capacity_n", capacity_n, "N")
    positive("undrained_strength_kpa", undrained_strength_kpa, "kPa")
    positive("area_m2", area_m2, "m2")
    return capacity_n / (1000.0 * undrained_strength_kpa * area_m2)


def surcharge_factor(friction_angle_deg: Values) -> Values:
    r"""Return the bearing factor of drained ground under the weight of the soil above, for a compact plate.

    .. math:: N_q \, s_q = e^{\pi\tan\varphi} \tan^2(45° + \varphi/2) \, (1 + \tan\varphi)

    Parameters
    ----------
    friction_angle_deg : number or array
        φ [deg], 0 to `GREATEST_FRICTION_ANGLE_DEG`.

    Returns
    -------
    number or array
        N_q s_q [1]; 1 at 0 degrees.  Prandtl and Reissner (computed); shape factor of a square footing by
        De Beer 1970 (value from memory).

    Raises
    ------
    PhysicsError
        When the angle is outside these limits.
    """
    within("friction_angle_deg", friction_angle_deg, 0.0, GREATEST_FRICTION_ANGLE_DEG, "deg")
    angle = np.radians(friction_angle_deg)
    return np.exp(np.pi * np.tan(angle)) * np.tan(np.pi / 4.0 + angle / 2.0) ** 2 * (1.0 + np.tan(angle))


def implied_surcharge_factor(capacity_n: Values, area_m2: Values) -> Values:
    r"""Return the surcharge factor that a capacity in sand implies, the fluke buried one fluke length deep.

    .. math:: N = T / (\gamma' \, A \, \sqrt{A})

    Parameters
    ----------
    capacity_n, area_m2 : number or array
        T [N] and A, fluke area [m²]; its root stands for the fluke's length.

    Returns
    -------
    number or array
        N [1], to compare with :func:`surcharge_factor`; depth of one fluke length in sand: NAVFAC
        SP-2209-OCN (value from memory).  An order of magnitude only.

    Raises
    ------
    PhysicsError
        When an argument is not above 0.
    """
    positive("capacity_n", capacity_n, "N")
    positive("area_m2", area_m2, "m2")
    return capacity_n / (1000.0 * SUBMERGED_UNIT_WEIGHT_KPA_PER_M * area_m2 * np.sqrt(area_m2))


def theory_doubt(low: float, high: float, limit: float) -> str:
    """Return a sentence when the whole band of an implied factor lies above what theory allows, else "".

    Parameters
    ----------
    low, high : float
        Ends of the band of the implied factor [1].
    limit : float
        Largest factor that theory allows [1], such as `NC_DEEP_CIRCLE_ROUGH`.

    Raises
    ------
    PhysicsError
        When the ends are in the wrong order.
    """
    if not low <= high:
        raise PhysicsError(f"low is {low:g}; it must be at most high, {high:g}")
    if low <= limit:
        return ""
    return (
        f"The fitted capacity implies a bearing factor of {low:,.1f} to {high:,.1f}, above the {limit:,.1f} "
        "that theory allows: check the strength, the fluke area and the units."
    )

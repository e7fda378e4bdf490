"""What the ground can bear: flukes in clay, break-out and bearing factors in sand, and a check on fits.

Signatures::

    fluke_capacity_n(undrained_strength_kpa, area_m2, bearing_factor)
    implied_bearing_factor(capacity_n, undrained_strength_kpa, area_m2)
    break_out_factor_square(depth_ratio, ku_tan_phi=0.92)
    break_out_load_n(unit_weight_n_per_m3, area_m2, depth_m, break_out_factor)
    surcharge_factor(friction_angle_deg)                   N_q of a footing
    implied_surcharge_factor(capacity_n, area_m2, unit_weight_n_per_m3=9500)
    theory_doubt(low, high, limit) -> str                  "" when theory allows part of the band
"""

import math

import numpy as np

from holdcast.physics.elementwise import Values
from holdcast.physics.errors import PhysicsError, not_negative, positive, within

__all__ = [
    "GREATEST_FRICTION_ANGLE_DEG",
    "NC_DEEP_CIRCLE_ROUGH",
    "NC_DEEP_CIRCLE_SMOOTH",
    "NC_DEEP_STRIP_ROUGH",
    "NC_DESIGN",
    "NC_SURFACE_STRIP",
    "break_out_factor_square",
    "break_out_load_n",
    "fluke_capacity_n",
    "implied_bearing_factor",
    "implied_surcharge_factor",
    "surcharge_factor",
    "theory_doubt",
]

NC_SURFACE_STRIP = 2.0 + math.pi
"""Strip footing on the surface [1], 5.1416: Prandtl (computed)."""
NC_DEEP_STRIP_ROUGH = 3.0 * math.pi + 2.0
"""Deep rough strip plate [1], 11.4248 (computed; Rowe; Merifield, value from memory)."""
NC_DEEP_CIRCLE_SMOOTH = 12.42
"""Deep smooth circular plate [1]: Martin & Randolph 2001 (value from memory)."""
NC_DEEP_CIRCLE_ROUGH = 13.11
"""Deep rough circular plate [1]: Martin & Randolph 2001 (value from memory); the most that theory allows."""
NC_DESIGN = (9.0, 12.5)
"""Design values for embedded plates, remoulded to undisturbed [1] (value from memory)."""
GREATEST_FRICTION_ANGLE_DEG = 50.0
"""Friction angle up to which the surcharge factor is used [deg] (a choice): it nearly doubles in the last
three degrees, and dense gravel hardly has more (common practice, no source)."""


def fluke_capacity_n(undrained_strength_kpa: Values, area_m2: Values, bearing_factor: Values) -> Values:
    r"""Return the capacity of a fluke buried in clay.

    .. math:: T = N_c \, s_u \, A

    Parameters
    ----------
    undrained_strength_kpa : number or array
        s_u at the fluke [kPa], above 0.
    area_m2 : number or array
        A, projected fluke area [m²], above 0.
    bearing_factor : number or array
        N_c [1]: 5.14 at the surface to 13.1 deep.

    Returns
    -------
    number or array
        T [N].  Form: Merifield et al. 2003 (value from memory); undrained, fully embedded fluke.

    Raises
    ------
    PhysicsError
        When an argument is not above 0.
    """
    positive("undrained_strength_kpa", undrained_strength_kpa, "kPa")
    positive("area_m2", area_m2, "m2")
    positive("bearing_factor", bearing_factor, "")
    return bearing_factor * 1000.0 * undrained_strength_kpa * area_m2


def implied_bearing_factor(capacity_n: Values, undrained_strength_kpa: Values, area_m2: Values) -> Values:
    r"""Return the bearing factor that a capacity in clay or silt implies.

    .. math:: N_c = T / (s_u A)

    Arguments, units and errors as in :func:`fluke_capacity_n`; computed.  Theory allows up to
    `NC_DEEP_CIRCLE_ROUGH`; small values are no fault, since a fluke need not be buried.
    """
    positive("capacity_n", capacity_n, "N")
    return capacity_n / fluke_capacity_n(undrained_strength_kpa, area_m2, 1.0)


def break_out_factor_square(depth_ratio: Values, ku_tan_phi: float = 0.92) -> Values:
    r"""Return the break-out factor of a square plate pulled out of dense sand.

    .. math:: N_q = 1 + 2 \, (1 + 0.48 \, D/B) \, (D/B) \, K_u \tan\varphi

    Parameters
    ----------
    depth_ratio : number or array
        D/B, depth over width [1], 0 to 4 (the tested range).
    ku_tan_phi : float
        K_u tan φ [1], 0.92 in the tested sand.

    Returns
    -------
    number or array
        N_q [1].  Meyerhof & Adams 1968, with the shape growth of a worked table (read), whose
        3.70, 8.20, 14.47, 22.51 at 1 to 4 are met within 1%.

    Raises
    ------
    PhysicsError
        When the depth ratio is outside 0 to 4 or the product is negative.
    """
    within("depth_ratio", depth_ratio, 0.0, 4.0, "")
    not_negative("ku_tan_phi", ku_tan_phi, "")
    return 1.0 + 2.0 * (1.0 + 0.48 * depth_ratio) * depth_ratio * ku_tan_phi


def break_out_load_n(
    unit_weight_n_per_m3: Values, area_m2: Values, depth_m: Values, break_out_factor: Values
) -> Values:
    r"""Return the load that lifts a plate out of sand.

    .. math:: P = \gamma \, A \, D \, N_q

    Parameters
    ----------
    unit_weight_n_per_m3 : number or array
        γ, submerged where under water [N/m³].
    area_m2, depth_m, break_out_factor : number or array
        A [m²], D [m] and N_q [1].

    Returns
    -------
    number or array
        P [N].  Meyerhof & Adams 1968 (read in a worked table).

    Raises
    ------
    PhysicsError
        When an argument is not above 0.
    """
    positive("unit_weight_n_per_m3", unit_weight_n_per_m3, "N/m3")
    positive("area_m2", area_m2, "m2")
    positive("depth_m", depth_m, "m")
    positive("break_out_factor", break_out_factor, "")
    return unit_weight_n_per_m3 * area_m2 * depth_m * break_out_factor


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


def implied_surcharge_factor(
    capacity_n: Values, area_m2: Values, unit_weight_n_per_m3: float = 9500.0
) -> Values:
    r"""Return the surcharge factor that a capacity in sand implies, the fluke buried one fluke length deep.

    .. math:: N = T / (\gamma' \, A \, \sqrt{A})

    Parameters
    ----------
    capacity_n, area_m2 : number or array
        T [N] and A, fluke area [m²]; its root stands for the fluke's length.
    unit_weight_n_per_m3 : float
        γ', submerged; 60 to 85 lb/ft³, 9.4 to 13.4 kN/m³ (EM 1110-2-2504, table 3-1, read).

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
    return capacity_n / break_out_load_n(unit_weight_n_per_m3, area_m2, np.sqrt(area_m2), 1.0)


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

"""Pieces of a hanging rode in closed form: weight in water, rise, reach, and the angle of a straight one.

Signatures (elementwise on numpy arrays)::

    submerged_weight_n_per_m(kg_per_m)
    segment_rise_m(horizontal_n, start_n, end_n, length_m, stiffness_n)
    segment_distance_m(horizontal_n, start_n, end_n, length_m, stiffness_n)
    bar_tight_angle_deg(scope)

A rode of chain and rope, and its loads at bow and anchor, is in :mod:`holdcast.physics.rode.make_up`.
"""

import numpy as np

from holdcast.physics.elementwise import Values
from holdcast.physics.errors import PhysicsError, positive
from holdcast.physics.units import GRAVITY

__all__ = [
    "SEA_WATER_DENSITY",
    "STEEL_DENSITY",
    "bar_tight_angle_deg",
    "segment_distance_m",
    "segment_rise_m",
    "submerged_weight_n_per_m",
]

SEA_WATER_DENSITY = 1025.0
"""Sea water [kg/m³]; common practice, no source."""
STEEL_DENSITY = 7850.0
"""Steel [kg/m³]; common practice, no source."""


def submerged_weight_n_per_m(kg_per_m: Values) -> Values:
    r"""Return the weight in sea water of steel chain given by its mass.

    .. math:: w = m \, g \, (1 - \rho_w / \rho_s)

    Parameters
    ----------
    kg_per_m : number or array
        Mass in air [kg/m], above 0.

    Returns
    -------
    number or array
        w [N/m]; 1.40 kg/m gives 11.937 N/m (computed).

    Raises
    ------
    PhysicsError
        When the mass is not above 0.
    """
    positive("chain_kg_per_m", kg_per_m, "kg/m")
    return kg_per_m * GRAVITY * (1.0 - SEA_WATER_DENSITY / STEEL_DENSITY)


def segment_rise_m(
    horizontal_n: Values, start_n: Values, end_n: Values, length_m: Values, stiffness_n: Values
) -> Values:
    r"""Return how far a hanging piece of rode rises.

    .. math::
        \Delta z = \ell \, (V_0 + V_1) \left[ \frac{1}{\sqrt{T_H^2 + V_0^2} + \sqrt{T_H^2 + V_1^2}}
        + \frac{1}{2 EA} \right]

    Parameters
    ----------
    horizontal_n : number or array
        T_H [N].
    start_n, end_n : number or array
        V_0 and V_1, vertical part of the tension at the lower and upper end [N]; V_1 - V_0 is the weight.
    length_m : number or array
        ℓ, length without load [m].
    stiffness_n : number or array
        EA, axial stiffness [N]; infinity: inextensible.

    Returns
    -------
    number or array
        Δz [m]; 0 where no tension acts.

    Notes
    -----
    The catenary's difference of square roots over w, written so that it also holds for weightless rope (a
    straight line).  Elastic part: Irvine 1981; Faltinsen 1990 (values from memory).
    """
    roots = np.hypot(horizontal_n, start_n) + np.hypot(horizontal_n, end_n)
    slope_sum = np.where(roots > 0.0, (start_n + end_n) / np.where(roots > 0.0, roots, 1.0), 0.0)
    return length_m * (slope_sum + (start_n + end_n) / (2.0 * np.asarray(stiffness_n, dtype=float)))


def segment_distance_m(
    horizontal_n: Values, start_n: Values, end_n: Values, length_m: Values, stiffness_n: Values
) -> Values:
    r"""Return the horizontal reach of a hanging piece of rode.

    .. math::
        \Delta x = \ell \, T_H \left[ \frac{\mathrm{asinh}(V_1/T_H) - \mathrm{asinh}(V_0/T_H)}{V_1 - V_0}
        + \frac{1}{EA} \right]

    Symbols and sources as in :func:`segment_rise_m`; a weightless piece is a straight line.
    """
    safe = np.where(np.asarray(horizontal_n) > 0.0, horizontal_n, 1.0)
    weight = np.asarray(end_n - start_n, dtype=float)
    # Below a millionth the quotient of differences loses digits and the middle's slope is exact enough.
    straight = weight <= 1e-6 * np.hypot(safe, end_n)
    curved = (np.arcsinh(end_n / safe) - np.arcsinh(start_n / safe)) / np.where(straight, 1.0, weight)
    middle = 1.0 / np.hypot(safe, 0.5 * (start_n + end_n))
    per_load = np.where(straight, middle, curved) + 1.0 / np.asarray(stiffness_n, dtype=float)
    return length_m * np.where(np.asarray(horizontal_n) > 0.0, safe * per_load, 0.0)


def bar_tight_angle_deg(scope: Values) -> Values:
    r"""Return the uplift angle of a rode pulled straight, the most that any load can give.

    .. math:: \alpha = \arcsin(1 / \text{scope})

    Parameters
    ----------
    scope : number or array
        Rode length over depth plus bow height [1], at least 1.

    Returns
    -------
    number or array
        α [deg]; 9.594 at 6:1 (computed).

    Raises
    ------
    PhysicsError
        When the scope is below 1: the rode then does not reach the bottom.
    """
    if not np.all(np.asarray(scope, dtype=float) >= 1.0):
        raise PhysicsError(f"scope is {np.min(scope):g}; it must be 1 or above, or the rode cannot reach")
    return np.degrees(np.arcsin(1.0 / np.asarray(scope, dtype=float)))

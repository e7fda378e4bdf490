"""Chain cutting into mud before a buried anchor (the inverse catenary): what share of the load it takes.

Signatures::

    bearing_integral_n(depth_m, bar_diameter_m, strength_gradient_kpa_per_m, surface_strength_kpa=0)
    share_taken_by_chain(load_at_mudline_n, integral_n, friction=0.4)
"""

import math

from scipy.optimize import brentq

from holdcast.physics.errors import PhysicsError, not_negative, positive

__all__ = [
    "CHAIN_BEARING_FACTOR",
    "CHAIN_FRICTION_IN_MUD",
    "CHAIN_WIDTH_IN_DIAMETERS",
    "NEGLIGIBLE_SHARE",
    "bearing_integral_n",
    "share_taken_by_chain",
]

CHAIN_BEARING_FACTOR = 7.6
"""N_c of chain deep in clay [1]; Degenkamp & Dutta 1989 (value from memory)."""
CHAIN_WIDTH_IN_DIAMETERS = 2.5
"""E_n, bearing width of chain in bar diameters [1]; Neubecker & Randolph 1995 (value from memory)."""
CHAIN_FRICTION_IN_MUD = 0.4
"""μ, friction along over normal resistance [1], 0.4 to 0.6; Vivatrat 1982 (value from memory)."""
NEGLIGIBLE_SHARE = 0.05
"""Share of the load below which the buried chain is not worth a correction: well inside the run-to-run
scatter of small-craft pulls, often half (choice; no source)."""


def bearing_integral_n(
    depth_m: float,
    bar_diameter_m: float,
    strength_gradient_kpa_per_m: float,
    surface_strength_kpa: float = 0.0,
) -> float:
    r"""Return the soil's normal resistance on chain, summed from the mudline down to the anchor's padeye.

    .. math:: z_a \bar Q = E_n \, d \, N_c \, (s_0 z_a + k z_a^2 / 2)

    Parameters
    ----------
    depth_m : float
        z_a, depth of the padeye below the mudline [m].
    bar_diameter_m : float
        d, bar diameter of the chain [m].
    strength_gradient_kpa_per_m : float
        k, undrained strength gained per metre [kPa/m]; soft clay and silt 1.9 ± 0.6 (NCEL TDS 83-08R,
        1987, read).
    surface_strength_kpa : float
        s_0, undrained strength at the mudline [kPa].

    Returns
    -------
    float
        z_a Q̄ [N].

    Raises
    ------
    PhysicsError
        When the diameter is not above 0 or another argument is negative.

    Notes
    -----
    Neubecker & Randolph 1995 with N_c and E_n as above (values from memory).
    """
    not_negative("depth_m", depth_m, "m")
    positive("bar_diameter_m", bar_diameter_m, "m")
    not_negative("strength_gradient_kpa_per_m", strength_gradient_kpa_per_m, "kPa/m")
    not_negative("surface_strength_kpa", surface_strength_kpa, "kPa")
    strength = surface_strength_kpa * depth_m + 0.5 * strength_gradient_kpa_per_m * depth_m**2
    return CHAIN_WIDTH_IN_DIAMETERS * bar_diameter_m * CHAIN_BEARING_FACTOR * 1000.0 * strength


def _turned(angle: float, friction: float) -> float:
    """Return the integral of e^(-μ θ) sin θ from 0 to `angle` (rad)."""
    end = math.exp(-friction * angle) * (friction * math.sin(angle) + math.cos(angle))
    return (1.0 - end) / (1.0 + friction**2)


def share_taken_by_chain(
    load_at_mudline_n: float, integral_n: float, friction: float = CHAIN_FRICTION_IN_MUD
) -> float:
    r"""Return the share of the load at the mudline that the buried chain takes before the anchor.

    .. math::
        1 - T_a / T_0 = 1 - e^{-\mu\theta_a}, \qquad
        z_a \bar Q = T_0 \int_0^{\theta_a} e^{-\mu\theta} \sin\theta \, d\theta

    Parameters
    ----------
    load_at_mudline_n : float
        T_0, load along the bottom where the chain enters the mud [N].
    integral_n : float
        z_a Q̄ from :func:`bearing_integral_n` [N].
    friction : float
        μ [1].

    Returns
    -------
    float
        Share [1], 0 to 1.

    Raises
    ------
    PhysicsError
        When the load is too small for the chain to reach this depth.
    """
    positive("load_at_mudline_n", load_at_mudline_n, "N")
    not_negative("integral_n", integral_n, "N")
    not_negative("friction", friction, "")
    wanted = integral_n / load_at_mudline_n
    if _turned(math.pi, friction) < wanted:
        raise PhysicsError(
            f"load_at_mudline_n is {load_at_mudline_n:g}; it must be above "
            f"{integral_n / _turned(math.pi, friction):.4g} N for the chain to reach this depth"
        )
    angle = float(brentq(lambda a: _turned(a, friction) - wanted, 0.0, math.pi, xtol=1e-13))
    return 1.0 - math.exp(-friction * angle)

"""A seabed's place on one log scale of resistance, with how uncertain that place is.

Signature::

    strength_index(soil, strength, scheme, *, strength_basis="", undrained_strength_kpa=nan,
                   friction_angle_deg=nan) -> (mean, sd)

The index is log(s / 40 kPa), s the undrained strength that would resist a small buried fluke as much: so a
medium clay lies a little above 0.  Sand and coarser soils are put on the scale by their bearing resistance
at a fluke depth of 0.3 m:  s = γ' z N_q s_q / 9.
"""

import math
from collections.abc import Mapping

from holdcast.physics.errors import PhysicsError, known_word
from holdcast.physics.ground.bearing import (
    NC_REMOULDED,
    SUBMERGED_UNIT_WEIGHT_KPA_PER_M,
    surcharge_factor,
)
from holdcast.physics.ground.soils import SCHEMES, soil_group, strength_class

__all__ = ["REFERENCE_STRENGTH_KPA", "class_spread", "measured_spread", "strength_index"]

REFERENCE_STRENGTH_KPA = 40.0
"""Strength at which the index is 0 [kPa]: limit between low and medium of ISO 14688-2 (value from
memory)."""

FLUKE_DEPTH_M = 0.3
"""Depth at which granular soils are compared with clay [m]; small-craft flukes (common practice, no
source)."""
MAPPING_SPREAD = 0.25
"""Spread of granular soils put on the scale of clay [1]: a factor of 1.5 either way at 90% (no source)."""

COARSENESS: Mapping[str, tuple[float, float]] = {
    "sand": (0.0, 0.0),
    "gravel": (0.4, 0.3),
    "cobble": (0.9, 0.5),
}
"""Added to the index where grains are as coarse as the tip, and the spread added (common practice, no
source)."""

UNCLASSED: Mapping[str, tuple[float, float]] = {
    "clay": (math.log(30.0 / 40.0), 0.9),
    "silt": (math.log(15.0 / 40.0), 0.8),
    "rock": (2.0, 0.8),
}
"""Index and spread of a soil without a class (common practice, no source); rock never has one.  A granular
soil without one takes the middle class with `UNCLASSED_GRANULAR_SPREAD`."""
UNCLASSED_GRANULAR_SPREAD = 0.7

MEASURED_SPREAD: Mapping[str, float] = {
    "vane": 0.2,
    "lab": 0.2,
    "penetrometer": 0.3,
    "probe": 0.4,
    "grab": 0.5,
}
"""Spread of log strength about a measured value, by strength_basis (common practice, no source)."""
MEASURED_SPREAD_OTHER = 0.4
GUESS_SPREAD = 0.6

CLASS_SPREAD: Mapping[str, float] = {"guess": 0.3}
"""Spread added to that inside the class when the class is a guess: about half a class (no source)."""


def measured_spread(strength_basis: str) -> float:
    """Return the spread of log strength about a measured value; words are open, so unknown ones get 0.4."""
    if strength_basis == "guess":
        return GUESS_SPREAD
    return MEASURED_SPREAD.get(strength_basis, MEASURED_SPREAD_OTHER)


def class_spread(strength_basis: str) -> float:
    """Return the spread added to that inside the class; 0 unless the class is said to be a guess."""
    return CLASS_SPREAD.get(strength_basis, 0.0)


def _granular_index(soil: str, friction_angle_deg: float) -> float:
    surcharge_kpa = SUBMERGED_UNIT_WEIGHT_KPA_PER_M * FLUKE_DEPTH_M
    strength_kpa = surcharge_kpa * float(surcharge_factor(friction_angle_deg)) / NC_REMOULDED
    return math.log(strength_kpa / REFERENCE_STRENGTH_KPA) + COARSENESS[soil][0]


def _granular(
    soil: str, strength: str, scheme: str, basis: str, friction_angle_deg: float
) -> tuple[float, float]:
    shared = math.hypot(MAPPING_SPREAD, COARSENESS[soil][1])
    if not math.isnan(friction_angle_deg):
        return _granular_index(soil, friction_angle_deg), math.hypot(shared, 0.5 * measured_spread(basis))
    entry = strength_class(soil, strength or "medium_dense", scheme)
    low = _granular_index(soil, entry.friction_angle_low_deg)
    high = _granular_index(soil, entry.friction_angle_high_deg)
    inside = (high - low) / math.sqrt(12.0) if strength else UNCLASSED_GRANULAR_SPREAD
    return 0.5 * (low + high), math.sqrt(inside**2 + shared**2 + class_spread(basis) ** 2)


def _cohesive(soil: str, strength: str, scheme: str, basis: str, measured_kpa: float) -> tuple[float, float]:
    if not math.isnan(measured_kpa):
        return math.log(measured_kpa / REFERENCE_STRENGTH_KPA), measured_spread(basis)
    if not strength:
        return UNCLASSED[soil]
    entry = strength_class(soil, strength, scheme)
    return entry.log_middle - math.log(REFERENCE_STRENGTH_KPA), math.hypot(entry.log_sd, class_spread(basis))


def strength_index(
    soil: str,
    strength: str,
    scheme: str,
    *,
    strength_basis: str = "",
    undrained_strength_kpa: float = math.nan,
    friction_angle_deg: float = math.nan,
) -> tuple[float, float]:
    r"""Return mean and standard deviation of a seabed's place on one log scale of resistance.

    .. math:: I = \log(s_u / 40\,\mathrm{kPa}), \qquad I = \log[\gamma' z N_q s_q / (9 \cdot
    40\,\mathrm{kPa})] + c

    The first for clay and silt, the second for sand and coarser soils, c for coarse grains.

    Parameters
    ----------
    soil : str
        Principal fraction: clay, silt, sand, gravel, cobble or rock.
    strength : str
        The scheme's class, or blank when unknown.
    scheme : str
        iso_14688_2, bs_5930 or terzaghi_peck.
    strength_basis : str
        How well it is known: guess, grab, probe, vane, …; other words are taken as a fair measurement.
    undrained_strength_kpa : float
        Measured strength [kPa]; replaces the class in clay and silt; NaN when not measured.
    friction_angle_deg : float
        Measured friction angle [deg]; replaces the class in coarser soils; NaN when not measured.

    Returns
    -------
    tuple of float
        Mean and standard deviation [1].  Inside a class strength is spread evenly on the log scale: middle
        of the logs, width over √12 (computed).

    Raises
    ------
    PhysicsError
        When soil, scheme or class is unknown, or a measured value is not allowed.

    Notes
    -----
    Class limits: :mod:`holdcast.physics.ground.soils`.  The mapping of granular soils is computed from
    :func:`holdcast.physics.ground.bearing.surcharge_factor` and is worth a factor of about 1.5.
    """
    known_word("strength_scheme", scheme, SCHEMES)
    group = soil_group(soil)
    if undrained_strength_kpa <= 0.0 or math.isinf(undrained_strength_kpa):
        raise PhysicsError(f"undrained_strength_kpa is {undrained_strength_kpa:g}; it must be above 0 kPa")
    if group == "rock":
        return UNCLASSED["rock"]
    if group == "cohesive":
        return _cohesive(soil, strength, scheme, strength_basis, undrained_strength_kpa)
    return _granular(soil, strength, scheme, strength_basis, friction_angle_deg)

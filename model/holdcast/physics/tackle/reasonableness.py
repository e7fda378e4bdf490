"""Whether a fitted capacity is within what the ground's theory allows.

Signature::

    capacity_doubt(soil, strength, scheme, capacity_n, area_m2, *, undrained_strength_kpa=nan,
                   friction_angle_deg=nan) -> str        "" when there is nothing to doubt or to judge by
"""

import math

from holdcast.physics.ground.bearing import (
    NC_DEEP_CIRCLE_ROUGH,
    implied_bearing_factor,
    implied_surcharge_factor,
    surcharge_factor,
    theory_doubt,
)
from holdcast.physics.ground.soils import soil_group, strength_class

__all__ = ["capacity_doubt"]


def _greatest_strength_kpa(soil: str, strength: str, scheme: str, measured_kpa: float) -> float:
    if not math.isnan(measured_kpa):
        return measured_kpa
    return strength_class(soil, strength, scheme).high if strength else math.nan


def _greatest_angle_deg(soil: str, strength: str, scheme: str, measured_deg: float) -> float:
    if not math.isnan(measured_deg):
        return measured_deg
    return strength_class(soil, strength or "very_dense", scheme).friction_angle_high_deg


def capacity_doubt(
    soil: str,
    strength: str,
    scheme: str,
    capacity_n: tuple[float, float],
    area_m2: float,
    *,
    undrained_strength_kpa: float = math.nan,
    friction_angle_deg: float = math.nan,
) -> str:
    """Return a sentence when a fitted capacity's whole band is beyond what theory allows, else "".

    Parameters
    ----------
    soil, strength, scheme : str
        As in :func:`holdcast.physics.ground.strength_index.strength_index`; strength may be blank.
    capacity_n : pair of float
        Lower and upper end of the capacity's band [N].
    area_m2 : float
        Fluke area [m²]; NaN when not measured: then there is nothing to judge by.
    undrained_strength_kpa, friction_angle_deg : float
        Measured values, which replace the class; NaN when not measured [kPa], [deg].

    Returns
    -------
    str
        Empty for rock, for clay or silt of unknown strength, and without an area.

    Raises
    ------
    PhysicsError
        When soil, scheme or class is unknown, or an end of the band or the area is not above 0.

    Notes
    -----
    The strong end of the class is taken, so that little is doubted that ground of the class explains; sand is
    taken at the light end of its weights (:func:`holdcast.physics.ground.bearing.implied_surcharge_factor`).
    Clay and silt: N_c up to 13.11, deep rough circle (Martin & Randolph 2001, value from memory).  Coarser
    soils: surcharge factor at one fluke length (computed), an order of magnitude.  Small factors are no
    fault.
    """
    group, (low, high) = soil_group(soil), capacity_n
    if group == "rock" or math.isnan(area_m2):
        return ""
    if group == "granular":
        limit = float(surcharge_factor(_greatest_angle_deg(soil, strength, scheme, friction_angle_deg)))
        ends = [float(implied_surcharge_factor(end, area_m2)) for end in (low, high)]
        return theory_doubt(ends[0], ends[1], limit)
    strongest = _greatest_strength_kpa(soil, strength, scheme, undrained_strength_kpa)
    if math.isnan(strongest):
        return ""
    ends = [float(implied_bearing_factor(end, strongest, area_m2)) for end in (low, high)]
    return theory_doubt(ends[0], ends[1], NC_DEEP_CIRCLE_ROUGH)

"""What a steeper fluke does in each kind of ground, as far as it is published.

Signature::

    angle_shares(soil, index, spread) -> share of each of ANGLE_GROUNDS
"""

import math
from collections.abc import Mapping
from types import MappingProxyType

from holdcast.physics.ground.soils import soil_group

__all__ = ["ANGLE_GROUNDS", "ANGLE_STEP_DEG", "PUBLISHED_GAIN", "angle_shares"]

ANGLE_STEP_DEG = 15.0
"""Angle between shank and fluke is told in steps of this many degrees: about the distance between a fluke set
for sand (34°) and one set for mud (50°; NAVFAC MO-124, 1987, section 1.4.2, read)."""

PUBLISHED_GAIN: Mapping[str, float] = MappingProxyType(
    {"soft_cohesive": 0.15, "firm_cohesive": -0.25, "granular": -0.25}
)
"""Change of log capacity expected of one step steeper, by kind of ground [1].

Sand and stiff clay: stockless anchors fixed at 48° hold 44 against 70 at the sand angle, -0.46 (UFC
4-159-03, 2005, tables 5-3 and 5-4, value from memory); half of it is expected of a small anchor of another
form (a choice).  Soft mud: guides set flukes to 50° there (NAVFAC MO-124, read), by what gain is not
published (a choice)."""

ANGLE_GROUNDS = tuple(PUBLISHED_GAIN)
"""Kinds of ground in which a fluke's angle has an effect of its own."""


def angle_shares(soil: str, index: float, spread: float) -> tuple[float, ...]:
    """Return how far a seabed is of each of `ANGLE_GROUNDS`.

    Parameters
    ----------
    soil : str
        Principal fraction.
    index, spread : float
        Mean and standard deviation of its strength index [1], see
        :func:`holdcast.physics.ground.strength_index.strength_index`; at 0 soft ground ends and firm begins
        (40 kPa).

    Returns
    -------
    tuple of float
        Probabilities that add up to 1; all 0 on rock, where a fluke finds a crack or none.

    Raises
    ------
    PhysicsError
        When the soil is not known.
    """
    group = soil_group(soil)
    if group == "rock":
        return (0.0, 0.0, 0.0)
    if group == "granular":
        return (0.0, 0.0, 1.0)
    soft = 0.5 * math.erfc(index / (spread * math.sqrt(2.0)))
    return (soft, 1.0 - soft, 0.0)

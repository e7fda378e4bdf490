"""Soil classes by scheme, and the distribution of strength inside a class.

Signatures::

    soil_group(soil) -> "cohesive" | "granular" | "rock"
    class_names(soil, scheme) -> tuple of words, weakest first
    strength_class(soil, strength, scheme) -> StrengthClass

Schemes disagree ("soft" is 20 to 40 kPa in one and 12.5 to 25 kPa in another), so a class is never read
without its scheme.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from holdcast.physics.errors import PhysicsError, known_word
from holdcast.physics.tables import read_table

__all__ = [
    "SCHEMES",
    "SOILS",
    "StrengthClass",
    "class_names",
    "soil_group",
    "strength_class",
]

SOILS: Mapping[str, str] = {
    "clay": "cohesive",
    "silt": "cohesive",
    "sand": "granular",
    "gravel": "granular",
    "cobble": "granular",
    "rock": "rock",
}
"""Principal fraction (ISO 14688-1 words, and rock) to the group whose classes apply."""

SCHEMES = ("iso_14688_2", "bs_5930", "terzaghi_peck")
"""Schemes whose class limits are in data/tables/soil_classes.csv."""


@dataclass(frozen=True)
class StrengthClass:
    """One class of one scheme, and what it says of strength.

    Attributes
    ----------
    scheme, name, quantity : words; quantity is ``undrained_strength_kpa`` or ``relative_density_pct``.
    low, high : limits in the quantity's unit, open ends closed as the table tells.
    friction_angle_low_deg, friction_angle_high_deg : range of the friction angle [deg]; NaN for strength.
    """

    scheme: str
    name: str
    quantity: str
    low: float
    high: float
    friction_angle_low_deg: float
    friction_angle_high_deg: float

    @property
    def log_middle(self) -> float:
        """Middle of the limits on the log scale: the mean of log strength spread evenly there (computed)."""
        return 0.5 * math.log(self.low * self.high)

    @property
    def log_sd(self) -> float:
        """Spread of log strength spread evenly between the limits: width over √12 (computed)."""
        return math.log(self.high / self.low) / math.sqrt(12.0)


def soil_group(soil: str) -> str:
    """Return ``cohesive``, ``granular`` or ``rock`` for a soil's principal fraction.

    Raises
    ------
    PhysicsError
        When the soil is not one of `SOILS`.
    """
    return SOILS[known_word("soil", soil, SOILS)]


@lru_cache
def _classes(scheme: str, group: str) -> tuple[StrengthClass, ...]:
    quantity = "undrained_strength_kpa" if group == "cohesive" else "relative_density_pct"
    return tuple(
        StrengthClass(
            scheme,
            row["class"],
            quantity,
            float(row["low"]),
            float(row["high"]),
            float(row["angle_low_deg"] or math.nan),
            float(row["angle_high_deg"] or math.nan),
        )
        for row in read_table("soil_classes")
        if (row["scheme"], row["group"]) == (scheme, group)
    )


def _of_scheme(soil: str, scheme: str) -> tuple[StrengthClass, ...]:
    group = soil_group(soil)
    known_word("strength_scheme", scheme, SCHEMES)
    if group == "rock":
        raise PhysicsError(
            "soil is 'rock'; it must be clay, silt, sand, gravel or cobble to have a strength class"
        )
    return _classes(scheme, group)


def class_names(soil: str, scheme: str) -> tuple[str, ...]:
    """Return the words a scheme has for a soil, weakest first.

    Raises
    ------
    PhysicsError
        When soil or scheme is unknown, or the soil is rock, which has no classes here.
    """
    return tuple(entry.name for entry in _of_scheme(soil, scheme))


def strength_class(soil: str, strength: str, scheme: str) -> StrengthClass:
    """Return limits and distribution of a class; the scheme is always needed.

    Parameters
    ----------
    soil : str
        Principal fraction, one of `SOILS`.
    strength : str
        The scheme's word, such as ``medium`` or ``medium_dense``.
    scheme : str
        One of `SCHEMES`.

    Raises
    ------
    PhysicsError
        When a word is unknown; the message lists the scheme's words and the nearest one.

    Notes
    -----
    Limits: data/tables/soil_classes.csv, with sources and marks.
    """
    entries = {entry.name: entry for entry in _of_scheme(soil, scheme)}
    return entries[known_word(f"strength ({scheme}, {soil})", strength, entries)]

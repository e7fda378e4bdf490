"""Soil classes by scheme, and the distribution of strength inside a class.

Signatures::

    soil_group(soil) -> "cohesive" | "granular" | "rock"
    class_names(soil, scheme) -> tuple of words, weakest first
    strength_class(soil, strength, scheme) -> StrengthClass
    class_of(soil, value, scheme) -> word                     value in kPa or % relative density

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
    "class_of",
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
    log_mean, log_sd : of the natural log of undrained strength in kPa, spread evenly on the log scale inside
        the class (computed: middle of the logs, width over √12); NaN for density.
    mean, sd : of relative density, spread evenly inside the class [%]; for strength the log-normal's moments
    [kPa].
    friction_angle_low_deg, friction_angle_high_deg : range of the friction angle [deg]; NaN for strength.
    """

    scheme: str
    name: str
    quantity: str
    low: float
    high: float
    log_mean: float
    log_sd: float
    mean: float
    sd: float
    friction_angle_low_deg: float = math.nan
    friction_angle_high_deg: float = math.nan


def soil_group(soil: str) -> str:
    """Return ``cohesive``, ``granular`` or ``rock`` for a soil's principal fraction.

    Raises
    ------
    PhysicsError
        When the soil is not one of `SOILS`.
    """
    return SOILS[known_word("soil", soil, SOILS)]


def _cohesive(scheme: str, name: str, low: float, high: float) -> StrengthClass:
    mean, sd = 0.5 * math.log(low * high), math.log(high / low) / math.sqrt(12.0)
    expected = math.exp(mean + 0.5 * sd**2)
    return StrengthClass(
        scheme=scheme,
        name=name,
        quantity="undrained_strength_kpa",
        low=low,
        high=high,
        log_mean=mean,
        log_sd=sd,
        mean=expected,
        sd=expected * math.sqrt(math.expm1(sd**2)),
    )


@lru_cache
def _classes(scheme: str, group: str) -> tuple[StrengthClass, ...]:
    found = []
    for row in read_table("soil_classes"):
        if (row["scheme"], row["group"]) != (scheme, group):
            continue
        name, low, high = row["class"], float(row["low"]), float(row["high"])
        if group == "cohesive":
            found.append(_cohesive(scheme, name, low, high))
            continue
        middle, spread = 0.5 * (low + high), (high - low) / math.sqrt(12.0)
        angles = float(row["angle_low_deg"]), float(row["angle_high_deg"])
        nan = math.nan
        found.append(
            StrengthClass(
                scheme,
                name,
                "relative_density_pct",
                low,
                high,
                nan,
                nan,
                middle,
                spread,
                angles[0],
                angles[1],
            )
        )
    return tuple(found)


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


def class_of(soil: str, value: float, scheme: str) -> str:
    """Return the class a measured value falls in; a value on a limit belongs to the stronger class.

    Parameters
    ----------
    soil : str
        Principal fraction, one of `SOILS` but rock.
    value : float
        Undrained strength [kPa] for clay and silt, relative density [%] for the others.
    scheme : str
        One of `SCHEMES`.

    Raises
    ------
    PhysicsError
        When a word is unknown, the strength is not above 0, or the density is outside 0 to 100%.
    """
    entries = _of_scheme(soil, scheme)
    cohesive = entries[0].quantity == "undrained_strength_kpa"
    allowed = "above 0 kPa" if cohesive else "between 0 and 100 %"
    good = value > 0.0 if cohesive else 0.0 <= value <= 100.0
    if not good or math.isinf(value):
        raise PhysicsError(f"{entries[0].quantity} is {value:g}; it must be {allowed}")
    return [entry.name for entry in entries if value >= entry.low or entry is entries[0]][-1]

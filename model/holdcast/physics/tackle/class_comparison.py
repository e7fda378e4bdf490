"""What class societies ask of a high-holding-power anchor, and which of those tests a campaign has.

Signatures::

    ClassTest(anchor, mass_kg, bottom, pulls, scope)       one anchor's pulls on one bottom
    rule_bottom(soil, undrained_strength_kpa=nan) -> "soft" | "sand" | "hard_clay" | ""
    requirements(kind, candidate, ordinary) -> tuple[Requirement, ...]
    meets_ratio(capacity, ordinary_capacity, kind)         elementwise true or false
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from holdcast.physics.elementwise import Values
from holdcast.physics.errors import known_word, positive
from holdcast.physics.ground.soils import soil_group

__all__ = [
    "BOTTOMS",
    "HOLDING_RATIO",
    "NEXT_SIZE",
    "ClassTest",
    "Requirement",
    "meets_ratio",
    "requirements",
    "rule_bottom",
]

HOLDING_RATIO: Mapping[str, float] = {"hhp": 2.0, "shhp": 4.0}
"""Least capacity over that of an ordinary stockless anchor of equal mass [1]: IACS UR A1.4 (read)."""
SIZES_NEEDED: Mapping[str, int] = {"hhp": 2, "shhp": 3}
"""Sizes to be tested [1]: IACS UR A1.4.2 (value from memory)."""
PULLS_NEEDED = 3
"""Pulls per anchor and bottom [1] (read)."""
_ROUNDING = 1e-9  # a scope computed from lengths may miss a whole number by the spacing of doubles
SCOPE_NORMAL = 10.0
SCOPE_LEAST = 6.0
"""Scope in the test: 10 normal, 6 at least (read)."""
MASS_TOLERANCE = 0.1
"""How far two masses may differ and count as about equal [1] (choice; the rule says "about", read)."""
NEXT_SIZE = 1.2
"""How many times as heavy the next size is at least [1]: a part on or off, such as a tip weight of a tenth of
the mass, makes no other size (choice; the rule speaks of sizes)."""
MASS_RATIO_LEAST = 0.1
"""Smallest over largest mass tested for HHP [1], at least (value from memory)."""

BOTTOMS: Mapping[str, str] = {
    "soft": "soft mud or silt",
    "sand": "sand or gravel",
    "hard_clay": "hard clay or similar compacted material",
}
"""The three kinds of bottom: three kinds read, names IACS UR A1.4.2 (value from memory)."""


@dataclass(frozen=True)
class ClassTest:
    """Pulls of one anchor on one kind of bottom; scope is the least used, NaN when not noted."""

    anchor: str
    mass_kg: float
    bottom: str
    pulls: int
    scope: float = math.nan


@dataclass(frozen=True)
class Requirement:
    """One thing the rule asks for, what the campaign has, and whether that is enough."""

    asked: str
    found: str
    met: bool


def rule_bottom(soil: str, undrained_strength_kpa: float = math.nan) -> str:
    """Return which of the rule's bottoms a seabed stands for, or "" when none.

    Parameters
    ----------
    soil : str
        Principal fraction, as in :mod:`holdcast.physics.ground.soils`.
    undrained_strength_kpa : float
        Strength, measured or the middle of its class [kPa]; NaN when unknown.

    Raises
    ------
    PhysicsError
        When the soil is unknown.

    Notes
    -----
    Soft below 40 kPa, hard from 75 kPa: limits of ISO 14688-2 (value from memory), the choice ours.
    """
    if soil_group(soil) == "cohesive":
        if undrained_strength_kpa < 40.0:
            return "soft"
        return "hard_clay" if undrained_strength_kpa >= 75.0 else ""
    return "sand" if soil in ("sand", "gravel") else ""


def meets_ratio(capacity: Values, ordinary_capacity: Values, kind: str) -> Values:
    """Return where a capacity reaches the ratio that the class asks for, element by element.

    Parameters
    ----------
    capacity, ordinary_capacity : number or array
        Of the candidate and of an ordinary stockless anchor of equal mass, in one unit, such as draws.
    kind : str
        ``hhp`` or ``shhp``.

    Raises
    ------
    PhysicsError
        When the kind is unknown or a capacity is not above 0.
    """
    ratio = HOLDING_RATIO[known_word("kind", kind, HOLDING_RATIO)]
    positive("capacity", capacity, "")
    positive("ordinary_capacity", ordinary_capacity, "")
    return capacity >= ratio * ordinary_capacity


def _pair(test: ClassTest, ordinary: Sequence[ClassTest]) -> ClassTest | None:
    """Return the ordinary anchor of about equal mass with the most pulls on the same bottom."""
    near = [
        other
        for other in ordinary
        if other.bottom == test.bottom and abs(math.log(other.mass_kg / test.mass_kg)) <= MASS_TOLERANCE
    ]
    return max(near, key=lambda other: other.pulls, default=None)


def _bottom_requirement(
    bottom: str, sizes: int, candidate: Sequence[ClassTest], ordinary: Sequence[ClassTest]
) -> Requirement:
    here = [test for test in candidate if test.bottom == bottom]
    often = [test for test in here if test.pulls >= PULLS_NEEDED]
    good = [
        test for test in often if (pair := _pair(test, ordinary)) is not None and pair.pulls >= PULLS_NEEDED
    ]
    pulled, enough, beside = (_count_sizes(some) for some in (here, often, good))
    counts = (
        f"{_sizes(pulled)} pulled, {enough} with {PULLS_NEEDED} pulls, {beside} beside a stockless as heavy"
    )
    return Requirement(
        f"{BOTTOMS[bottom]}: {PULLS_NEEDED} pulls of each of {sizes} sizes and of a stockless as heavy",
        counts if pulled else "no pulls",
        beside >= sizes,
    )


def _count_sizes(tests: Iterable[ClassTest]) -> int:
    """Count sizes; masses less than a fifth above the smallest of a size, as with a part on, are it."""
    counted, last = 0, 0.0
    for mass in sorted(test.mass_kg for test in tests):
        if not counted or mass >= NEXT_SIZE * last:
            counted, last = counted + 1, mass
    return counted


def _sizes(number: int) -> str:
    return f"{number} size{'' if number == 1 else 's'}"


def requirements(
    kind: str, candidate: Iterable[ClassTest], ordinary: Iterable[ClassTest]
) -> tuple[Requirement, ...]:
    """Return what the rule asks for and what the campaign has, one requirement a line.

    Parameters
    ----------
    kind : str
        ``hhp`` (at least twice the ordinary) or ``shhp`` (at least four times).
    candidate, ordinary : iterable of ClassTest
        Tests of the candidate design and of ordinary stockless anchors.

    Returns
    -------
    tuple of Requirement
        Three bottoms, sizes, scope.

    Raises
    ------
    PhysicsError
        When the kind or a bottom is unknown.

    Notes
    -----
    IACS UR A1.4, sources and marks at the constants of this module.  It says what is missing; it awards no
    class: a class society does that, after tests it attends.
    """
    known_word("kind", kind, HOLDING_RATIO)
    mine, theirs = tuple(candidate), tuple(ordinary)
    for test in (*mine, *theirs):
        known_word("bottom", test.bottom, BOTTOMS)
        positive("mass_kg", test.mass_kg, "kg")
    sizes = SIZES_NEEDED[kind]
    bottoms = [_bottom_requirement(bottom, sizes, mine, theirs) for bottom in BOTTOMS]
    masses, counted = sorted(test.mass_kg for test in mine), _count_sizes(mine)
    spread = masses[0] / masses[-1] if masses else math.nan
    spread_good = kind == "shhp" or spread >= MASS_RATIO_LEAST
    scopes = np.array([test.scope for test in (*mine, *theirs)], dtype=float)
    scope_text = (
        "not noted for every test" if np.isnan(scopes).any() else f"least {scopes.min(initial=np.inf):.3g}"
    )
    return (
        *bottoms,
        Requirement(
            f"{sizes} sizes"
            + ("" if kind == "shhp" else f", smallest over largest mass {MASS_RATIO_LEAST:g} or more"),
            _sizes(counted) + (f", ratio {spread:.2g}" if counted > 1 else ""),
            counted >= sizes and spread_good,
        ),
        Requirement(
            f"scope {SCOPE_NORMAL:g}, at least {SCOPE_LEAST:g}",
            scope_text if len(scopes) else "no tests",
            bool(len(scopes)) and bool(np.all(scopes >= SCOPE_LEAST * (1.0 - _ROUNDING))),
        ),
    )

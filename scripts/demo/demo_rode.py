"""What a bow load means at the anchor in the invented world: chain at the anchor, light rope above it.

Written apart from the program's own physics, from the same textbook catenary (Irvine 1981; from memory),
so that the demo campaign is no copy of what the program assumes.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import atan2, degrees, exp, sqrt

BUOYANCY = 1.0 - 1025.0 / 7850.0  # steel in sea water, computed from common densities
GRAVITY = 9.80665  # m/s2
BOTTOM_FRICTION = 0.6  # chain on the bottom; common practice, no source


@dataclass(frozen=True)
class Rode:
    """A test rode; the columns of rodes.csv."""

    name: str
    chain_kg_per_m: float
    chain_length_m: float
    grade: int
    chain_mm: int
    shackle_in: float
    shackle_limit_n: float  # working load of the shackle, a table of forged shackles, value from memory


@dataclass(frozen=True)
class Geometry:
    """Rode paid out on one pull: height from the bottom to the bow roller and scope (length over height)."""

    rode: Rode
    height_m: float
    scope: float


RODES = (
    Rode("usual rode", 1.40, 10.0, 30, 8, 0.4375, 13345.0),
    Rode("light rode", 0.80, 6.0, 30, 6, 0.25, 4448.0),
    Rode("heavy rode", 2.20, 15.0, 40, 10, 0.5, 17793.0),
)


def _rise(horizontal: float, vertical: float, chain: float, rope: float, weight: float) -> float:
    """Height gained from the anchor end to the bow, in m, for the forces at the anchor end in N."""
    top = vertical + weight * chain
    pull = sqrt(horizontal**2 + top**2)
    return (pull - sqrt(horizontal**2 + vertical**2)) / weight + rope * top / pull


def _bisect(rises_above: Callable[[float], bool], low: float, high: float) -> float:
    """Halve [low, high] until the place where `rises_above` turns true is known to a billionth."""
    for _ in range(48):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if rises_above(middle) else (middle, high)
    return 0.5 * (low + high)


def anchor_and_bow(horizontal: float, geometry: Geometry) -> tuple[float, float, float]:
    """Return the load at the anchor (N), its angle above the bottom (degrees) and the load at the bow (N)."""
    rode = geometry.rode
    weight = rode.chain_kg_per_m * GRAVITY * BUOYANCY
    rope = max(0.0, geometry.scope * geometry.height_m - rode.chain_length_m)
    chain = min(rode.chain_length_m, geometry.scope * geometry.height_m)
    if _rise(horizontal, 0.0, chain, rope, weight) >= geometry.height_m:
        lifted = _bisect(lambda c: _rise(horizontal, 0.0, c, rope, weight) >= geometry.height_m, 0.0, chain)
        on_bottom = BOTTOM_FRICTION * weight * (chain - lifted)
        return max(horizontal - on_bottom, 1.0), 0.0, sqrt(horizontal**2 + (weight * lifted) ** 2)
    vertical = _bisect(
        lambda v: _rise(horizontal, v, chain, rope, weight) >= geometry.height_m, 0.0, 3.0 * horizontal
    )
    at_bow = sqrt(horizontal**2 + (vertical + weight * chain) ** 2)
    return sqrt(horizontal**2 + vertical**2), degrees(atan2(vertical, horizontal)), at_bow


def holding_share(angle_deg: float) -> float:
    """Share of the holding along the bottom that is left at an uplift angle; our own choice, falling."""
    return exp(-((angle_deg / 24.0) ** 1.5))


def bow_load_at_break_out(holding_n: float, geometry: Geometry) -> float:
    """Load at the bow (N) at which an anchor holding `holding_n` along the bottom breaks out."""

    def breaks_out(horizontal: float) -> bool:
        at_anchor, angle, _ = anchor_and_bow(horizontal, geometry)
        return at_anchor >= holding_n * holding_share(angle)

    return anchor_and_bow(_bisect(breaks_out, 1.0, 2.0 * holding_n + 2000.0), geometry)[2]

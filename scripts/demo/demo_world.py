"""The invented world behind the demo campaign: its anchors, seabeds and the true capacity of every cell.

Nothing here was measured and nothing speaks of a real anchor, maker or place. The world is deliberately not
the statistical model of the program: tips enter by a Weibull law, designs carry hidden traits that suit some
grounds and not others, visits now and then meet a bad spot, and an anchor now and then never sets. Every
number is of our own choosing, within the ranges the trade talks about (common practice, no source).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

GRAVITY = 9.80665  # m/s2, standard gravity
BASE_MASS_KG = 10.0


@dataclass(frozen=True)
class Anchor:
    """One anchor in one configuration; areas in m2, masses in kg, angles in degrees, lengths in m."""

    name: str
    design: str
    form: str
    mass: float
    tip_fraction: float
    area_shape: float  # fluke area over mass^(2/3), m2/kg^(2/3)
    fluke_angle: int
    shank: float
    flags: tuple[str, ...] = ()
    bolted_on: tuple[str, ...] = ()

    @property
    def tip_load(self) -> float:
        """Load under the fluke tip as a mass in kg."""
        return round(self.mass * self.tip_fraction, 2)

    @property
    def area(self) -> float:
        """Plan area of the fluke in m2, to the nearest 5 cm2 as a tester traces it."""
        return float(round(self.area_shape * self.mass ** (2 / 3) * 2000)) / 2000


@dataclass(frozen=True)
class Seabed:
    """One invented seabed: what the tester writes down, and what is true of it."""

    name: str
    soil: str
    secondary: str
    strength: str
    basis: str
    undrained_kpa: float | None
    friction_deg: float | None
    cover: str
    travel_h: float
    ground: float  # holding efficiency of a plain 10 kg anchor whose tip enters fully
    exponent: float  # of mass, at a fixed shape
    tip_needed: float  # kg under the tip of a 10 kg anchor for 63% of the full entry
    stiffness: float  # -1 softest ... +1 hardest, to match designs' traits
    clutter: float  # 0 clean ... 1 weed or stones all over
    scatter: float  # of one pull, log scale
    visit_scatter: float  # of one visit, log scale
    rate_per_decade: float  # rise of a reading for a tenfold drag speed


ANCHORS = (
    Anchor("A-06", "A", "scoop", 6.2, 0.37, 0.0205, 31, 0.52, ("roll_bar",)),
    Anchor("A-10", "A", "scoop", 10.1, 0.37, 0.0205, 31, 0.61, ("roll_bar",)),
    Anchor("A-16", "A", "scoop", 16.0, 0.37, 0.0204, 31, 0.71, ("roll_bar",)),
    Anchor("B-10", "B", "scoop", 10.0, 0.50, 0.0184, 32, 0.63),
    Anchor("B-10-bar", "B", "scoop", 10.8, 0.46, 0.0175, 32, 0.63, ("roll_bar",), ("roll_bar",)),
    Anchor("C-11", "C", "scoop", 11.2, 0.42, 0.0217, 33, 0.66),
    Anchor("C-11-bar", "C", "scoop", 12.1, 0.39, 0.0206, 33, 0.66, ("roll_bar",), ("roll_bar",)),
    Anchor("D-10", "D", "plough", 10.4, 0.34, 0.0158, 29, 0.74),
    Anchor("E-09", "E", "plough", 9.1, 0.24, 0.0148, 30, 0.78),
    Anchor("E-09-tip", "E", "plough", 10.3, 0.32, 0.0137, 30, 0.78, ("tip_weight",), ("tip_weight",)),
    Anchor("E-15", "E", "plough", 15.2, 0.24, 0.0149, 30, 0.92),
    Anchor("F-10", "F", "claw", 10.0, 0.20, 0.0168, 30, 0.69),
    Anchor("F-10-tip", "F", "claw", 11.1, 0.27, 0.0157, 30, 0.69, ("tip_weight",), ("tip_weight",)),
    Anchor("G-08", "G", "twin_fluke", 8.2, 0.17, 0.0245, 32, 0.80),
    Anchor("G-08-palms", "G", "twin_fluke", 8.9, 0.18, 0.0252, 32, 0.80, ("mud_palms",), ("mud_palms",)),
    Anchor("H-05", "H", "twin_fluke", 4.9, 0.15, 0.0392, 32, 0.85),
    Anchor("I-12", "I", "stock", 12.3, 0.22, 0.0131, 45, 0.95),
    Anchor("J-08", "J", "grapnel", 8.0, 0.13, 0.0130, 40, 0.55),
    Anchor("K-12", "K", "scoop", 12.0, 0.44, 0.0196, 31, 0.67),
    Anchor("K-12-edge", "K", "scoop", 12.3, 0.42, 0.0203, 31, 0.67, ("upturned_edge",), ("upturned_edge",)),
    Anchor("L-14", "L", "stockless", 14.1, 0.12, 0.0135, 42, 0.60),
)

SEABEDS = (
    Seabed("inner basin mud", "clay", "silt", "very_low", "vane", 12.0, None, "none",
           0.2, 11.0, 0.93, 0.30, -1.0, 0.0, 0.22, 0.16, 0.10),
    Seabed("creek silt", "silt", "clay", "low", "probe", None, None, "none",
           0.5, 15.0, 0.90, 0.60, -0.6, 0.1, 0.20, 0.15, 0.08),
    Seabed("weedy shelf clay", "clay", "", "medium", "grab", None, None, "weed",
           0.8, 27.0, 0.86, 2.40, 0.1, 0.8, 0.33, 0.24, 0.10),
    Seabed("shell patch", "sand", "silt", "loose", "grab", None, None, "shell",
           0.7, 22.0, 0.88, 1.10, -0.1, 0.3, 0.24, 0.18, 0.04),
    Seabed("north bar sand", "sand", "", "medium_dense", "probe", None, 33.0, "none",
           0.6, 34.0, 0.87, 1.50, 0.4, 0.0, 0.17, 0.13, 0.03),
    Seabed("outer beach sand", "sand", "", "dense", "guess", None, None, "none",
           1.6, 46.0, 0.86, 2.80, 0.8, 0.0, 0.20, 0.17, 0.03),
    Seabed("stony spit", "gravel", "cobble", "medium_dense", "", None, None, "cobble",
           1.1, 30.0, 0.84, 4.20, 1.0, 1.0, 0.36, 0.22, 0.02),
)  # fmt: skip

# Log efficiency of a form, and what clutter (weed, stones) does to it.
FORM_EFFECT = {
    "scoop": 0.25, "plough": -0.35, "claw": -0.55, "twin_fluke": 0.25,
    "stock": -0.80, "grapnel": -1.15, "stockless": -1.05,
}  # fmt: skip
FORM_IN_CLUTTER = {
    "scoop": -0.15, "plough": 0.05, "claw": 0.30, "twin_fluke": -1.00,
    "stock": 0.65, "grapnel": 0.55, "stockless": -0.10,
}  # fmt: skip


def part_effect(part: str, seabed: Seabed) -> float:
    """Log effect of a bolt-on part beyond the mass, area and tip load that it changes."""
    soft = max(0.0, -seabed.stiffness)
    effects = {
        "roll_bar": 0.10 - 0.22 * soft - 0.30 * seabed.clutter * (seabed.cover == "weed"),
        "tip_weight": 0.04 + 0.12 * max(0.0, seabed.stiffness),
        "mud_palms": 0.35 * soft - 0.05,
        # Ruins the entry where the ground is firm and clean, does nothing in mud.
        "upturned_edge": -0.75 if seabed.soil == "sand" and seabed.stiffness > 0.3 else 0.02,
    }
    return effects[part]


def tip_entry(anchor: Anchor, seabed: Seabed) -> float:
    """Share of the full holding that the tip's load lets the fluke reach: a Weibull law, no unit."""
    needed = seabed.tip_needed * (anchor.mass / BASE_MASS_KG) ** 0.4
    return float(-np.expm1(-((anchor.tip_load / needed) ** 1.2)))


def plain_log_capacity(anchor: Anchor, seabed: Seabed) -> float:
    """Log of the capacity in N before the hidden traits of designs: size, shape, entry, form and parts."""
    shape = np.log(anchor.area_shape / 0.017)
    base = np.log(seabed.ground * BASE_MASS_KG * GRAVITY)
    size = seabed.exponent * np.log(anchor.mass / BASE_MASS_KG)
    form = FORM_EFFECT[anchor.form] + FORM_IN_CLUTTER[anchor.form] * seabed.clutter
    parts = sum(part_effect(part, seabed) for part in anchor.bolted_on)
    return float(base + size + 0.6 * shape + np.log(tip_entry(anchor, seabed)) + form + parts)


def true_capacity(generator: np.random.Generator) -> NDArray[np.float64]:
    """Draw the world's hidden traits and return every cell's capacity in N, shape (anchors, seabeds).

    Capacity is the median load, over visits, at which a straight pull along the bottom breaks the anchor out.
    """
    designs = sorted({anchor.design for anchor in ANCHORS})
    quality = dict(zip(designs, generator.normal(0.0, 0.16, len(designs)), strict=True))
    hard_lover = dict(zip(designs, generator.normal(0.0, 0.20, len(designs)), strict=True))
    odd = {
        (d, s.name): e for d in designs for s, e in zip(SEABEDS, generator.normal(0, 0.13, 7), strict=True)
    }
    own = generator.normal(0.0, 0.04, len(ANCHORS))
    logs = [
        [
            plain_log_capacity(anchor, seabed)
            + quality[anchor.design]
            + hard_lover[anchor.design] * seabed.stiffness
            + odd[anchor.design, seabed.name]
            + own_effect
            for seabed in SEABEDS
        ]
        for anchor, own_effect in zip(ANCHORS, own, strict=True)
    ]
    return np.exp(np.asarray(logs, dtype=np.float64))

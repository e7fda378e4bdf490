"""Invented worlds that are not the program's model: what is true of every anchor, seabed and cell.

Nothing here was measured. Every number is of our own choosing, within the ranges the trade talks about
(common practice, no source). All worlds share one layout, so that one compiled model serves every campaign;
what differs is how capacity comes about and what the tester wrote down wrongly.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
GRAVITY = 9.80665  # m/s2, standard gravity

SEABEDS = ("basin", "creek", "shelf", "patch", "bar", "beach", "spit")
SOILS = ("clay", "silt", "clay", "sand", "sand", "sand", "gravel")
CLASSES = ("very_low", "low", "medium", "loose", "medium_dense", "dense", "medium_dense")
WRONG_CLASSES = ("medium", "high", "very_low", "dense", "very_loose", "loose", "very_dense")
STIFFNESS = np.array([-1.0, -0.6, 0.1, -0.1, 0.4, 0.8, 1.0])  # softest -1, hardest +1
COVERS = ("", "weed", "weed", "shell", "weed", "shell", "cobble")  # in worlds with covers, by seabed
COVER_NEED = {
    "weed": 0.8,
    "shell": 0.3,
    "cobble": 1.0,
}  # of the log tip load that is needed, where it matters
COVER_ODDS = {"weed": -1.0, "shell": -0.3, "cobble": -0.8}  # of the log odds of setting, beside that
COVER_SPREAD, COVER_SEABED_SPREAD = 0.3, 0.2  # sd of both by campaign, and of the need by seabed
HIDDEN_SEABED = 2  # in worlds with covers nobody pulls there; two other seabeds have its cover
LONE_SEABED = 4  # where the one feature matters in the world of that name

# Twelve designs: five in several sizes, two with a part on and off, five alone.
FORMS = (
    "scoop", "scoop", "plough", "claw", "twin_fluke", "scoop", "plough", "plough", "claw", "twin_fluke",
    "stock", "scoop",
)  # fmt: skip
SIZES = (
    (6.0, 15.0), (8.0, 20.0), (9.0, 16.0), (7.5, 15.0), (4.0, 8.0, 16.0), (10.0, 10.8), (10.0, 10.7), (12.0,),
    (10.0,), (8.0,), (13.0,), (11.0,),
)  # fmt: skip
DESIGN_OF = np.repeat(np.arange(len(SIZES)), [len(sizes) for sizes in SIZES])
ANCHORS = tuple(f"a{number:02d}" for number in range(len(DESIGN_OF)))
FEATURES = ("roll_bar", "upturned_edge")
# Designs that have the feature in every configuration, and the one pair where only the second has it.
ALWAYS = {"roll_bar": (0, 11), "upturned_edge": (1, 9)}
PAIR = {"roll_bar": 5, "upturned_edge": 6}
# Logs in which three designs were pulled with the fluke at two angles [deg]: one mass, two configurations.
SIZES_TWO_ANGLES = (SIZES[0], (8.0, 8.0), (12.0, 12.0), SIZES[3], (8.0, 8.0, 16.0), *SIZES[5:])
USUAL_ANGLE = {"scoop": 31.0, "plough": 30.0, "claw": 33.0, "twin_fluke": 32.0, "stock": 45.0}
STEEP_ANGLES = {3: 46.0, 5: 44.0, 9: 47.0}  # by anchor: the second of designs 1, 2 and 4
MUD_STEP_DEG = 15.0
TIP_FRACTION = {"scoop": 0.40, "plough": 0.29, "claw": 0.21, "twin_fluke": 0.17, "stock": 0.22}
AREA_SHAPE = {"scoop": 0.020, "plough": 0.015, "claw": 0.0165, "twin_fluke": 0.027, "stock": 0.013}

# Standard deviations of a design's own effects: everywhere, by stiffness, in one seabed, of a configuration.
OWN_SPREAD = {"main": 0.18, "trait": 0.18, "odd": 0.15, "configuration": 0.05}
FAMILY_SPREAD = {"family": 0.35, "main": 0.10, "trait": 0.0, "odd": 0.08, "configuration": 0.05}
FAMILIES = 3
# Of what is not a design's own: a seabed's log efficiency and size exponent, forms, features.
SPREAD = {
    "ground": 0.20, "ground_peak": 0.15, "exponent": 0.03, "form": 0.30, "form_seabed": 0.15,
    "feature": 0.10, "feature_seabed": 0.10,
}  # fmt: skip
TAIL_FREEDOM = 5.0  # pulls scatter as a t with this many degrees of freedom
VISIT_SPREAD = 0.15


@dataclass(frozen=True)
class World:
    """One kind of world: what is unlike the program's model, and one line that says it."""

    summary: str
    entry: str = "weibull"  # how the tip enters: "weibull", "cliff" or "free"
    peak: bool = False  # capacity highest at middle strength
    families: bool = False
    fouled: float = 0.0  # share of pulls at a third of the load, not excluded
    wrong_class: bool = False
    tip_error: float = 0.0  # sd of the log error of written tip loads
    lone_feature: bool = False
    boat_limit_n: float = 5000.0
    unset: float = 0.0  # share of pulls whose anchor does not set
    slides_at: str = "weight"  # what an unset anchor slides at: "weight", or "share" of its capacity
    spot_spread: float = 0.0  # sd of what an anchor's pulls of one visit share
    visits: str = "shared"  # "shared" by anchors; "one a cell"; "one anchor a day"
    odd: float = OWN_SPREAD["odd"]  # sd of a design's own effect in one seabed
    covers: str = ""  # "matter" or "idle"; blank: bare ground everywhere
    angle_gain: tuple[float, ...] = ()  # by seabed, of a fluke 15 degrees steeper; blank: angles not written


WORLDS = {
    "no_limit": World("no penetration limit", entry="free"),
    "cliff": World("a tip that is too light loses two thirds of the capacity at once", entry="cliff"),
    "middle_peak": World("capacity is highest at middle strength", peak=True),
    "families": World("hidden families of designs share what suits them", families=True),
    "fouled": World("one pull in ten is fouled, at a third of the load, and not excluded", fouled=0.10),
    "wrong_class": World("one seabed's strength class is two classes off", wrong_class=True),
    "tip_loads": World("tip loads are written down wrongly by a third", tip_error=0.35),
    "lone_feature": World("a feature matters in one seabed only", lone_feature=True),
    "weak_boat": World("a boat that can pull little", boat_limit_n=1700.0),
}
SETTING_WORLDS = {
    "slides_weight": World("13% of pulls do not set and slide at about the anchor's weight", unset=0.13),
    "slides_share": World(
        "13% of pulls do not set and slide at a fifth of the capacity", unset=0.13, slides_at="share"
    ),
    "spots": World(
        "pulls of a cell are all of one visit and share a spot", spot_spread=0.2, visits="one a cell"
    ),
    "one_anchor_a_day": World("no two anchors are pulled on one day", visits="one anchor a day"),
    "by_ground": World("designs differ strongly by ground", odd=0.66),
    "by_ground_a_day": World(
        "designs differ strongly by ground, and no two are pulled on one day",
        odd=0.66,
        visits="one anchor a day",
    ),
}
ANGLE_WORLDS = {
    "angles_matter": World(
        "steep flukes hold more in soft mud and less elsewhere, about as published",
        angle_gain=(0.30, 0.30, -0.35, -0.46, -0.46, -0.46, -0.46),
    ),
    "angles_idle": World("angles are written down and do not matter", angle_gain=(0.0,) * len(SEABEDS)),
}
ANGLE_GAIN_SPREAD = 0.1  # sd of a gain by seabed, where angles matter
COVER_WORLDS = {
    "covers_matter": World("what lies on top asks for more tip load", covers="matter"),
    "covers_idle": World("what lies on top is written down and does not matter", covers="idle"),
    "covers_unset": World("what lies on top asks for more, and keeps anchors from setting", covers="matter",
                          unset=0.13),
    "covers_idle_unset": World("13% of pulls do not set, whatever lies on top", covers="idle", unset=0.13),
}  # fmt: skip
EVERY_WORLD = WORLDS | SETTING_WORLDS | ANGLE_WORLDS | COVER_WORLDS


@dataclass(frozen=True)
class Truth:
    """What is true in one campaign; dims in the order (anchor, seabed).

    ``mean`` is log capacity without the designs' own effects, ``covariance`` theirs over cells, row by row;
    ``learnable`` is the mean without what seabeds, their size exponents, forms and features add by chance;
    ``cover_need`` and ``cover_odds`` are what covers add, by seabed, to the log tip load needed and to the
    log odds of setting; ``setting`` is None where every pull sets, ``fluke_angle`` [deg] where nobody wrote
    angles down.
    """

    mass: Array
    tip_load: Array
    area: Array
    has_feature: Array
    learnable: Array
    mean: Array
    log_capacity: Array
    covariance: Array
    scatter: Array
    cover_need: Array
    cover_odds: Array
    setting: "Setting | None" = None
    fluke_angle: Array | None = None


@dataclass(frozen=True)
class Setting:
    """What is true of setting, dims (anchor, seabed): chances, at first and again, and log sliding loads."""

    sets: Array
    resets: Array
    sliding: Array


def has_feature() -> Array:
    """Return which anchor has which feature, shape (anchor, feature); the same in every campaign."""
    table = np.zeros((len(ANCHORS), len(FEATURES)))
    for column, name in enumerate(FEATURES):
        table[np.isin(DESIGN_OF, ALWAYS[name]), column] = 1.0
        table[np.flatnonzero(np.isin(DESIGN_OF, PAIR[name]))[1], column] = 1.0
    return table


def draw_truth(world: World, generator: np.random.Generator) -> Truth:
    """Draw one campaign's truth."""
    forms = [FORMS[design] for design in DESIGN_OF]
    mass = np.concatenate(SIZES_TWO_ANGLES if world.angle_gain else SIZES)
    fraction = np.array([TIP_FRACTION[form] for form in forms])
    shape = np.array([AREA_SHAPE[form] for form in forms])
    fraction = fraction * np.exp(generator.normal(0.0, 0.20, len(SIZES))[DESIGN_OF])
    shape = shape * np.exp(generator.normal(0.0, 0.15, len(SIZES))[DESIGN_OF])
    features = has_feature()
    # A part takes area and shifts weight, so a pair differs in more than the part.
    fraction = fraction * np.exp(generator.normal(0.0, 0.08, len(ANCHORS)) * features.any(axis=1))
    stiffness = STIFFNESS + generator.normal(0.0, 0.12, len(SEABEDS))
    tip_load, area = mass * fraction, shape * mass ** (2 / 3)
    need, odds = _cover_effects(world, generator)
    measured = mass, tip_load, shape
    learnable, added = _mean(world, generator, stiffness, need, np.array(forms), measured, features)
    mean = learnable + added
    own, covariance = _own_effects(world, generator, stiffness)
    scatter = 0.21 * np.exp(generator.normal(0.0, 0.2, len(SEABEDS)))
    truth = Truth(
        mass, tip_load, area, features, learnable, mean, mean + own, covariance, scatter, need, odds
    )
    return _at_two_angles(world, truth, generator) if world.angle_gain else truth


def _cover_effects(world: World, generator: np.random.Generator) -> tuple[Array, Array]:
    """Return what covers add by seabed: to the log tip load needed, and to the log odds of setting."""
    need, odds = np.zeros(len(SEABEDS)), np.zeros(len(SEABEDS))
    if world.covers != "matter":
        return need, odds
    for cover in COVER_NEED:
        here = np.array(COVERS) == cover
        shift, clog = generator.normal(0.0, COVER_SPREAD, 2)
        need[here] = COVER_NEED[cover] + shift + generator.normal(0.0, COVER_SEABED_SPREAD, here.sum())
        odds[here] = COVER_ODDS[cover] + clog
    return need, odds


def _at_two_angles(world: World, truth: Truth, generator: np.random.Generator) -> Truth:
    """Return the truth with what the angles of flukes do, drawn last so that all else is as without."""
    usual = np.array([USUAL_ANGLE[FORMS[design]] for design in DESIGN_OF])
    angle = usual.copy()
    angle[list(STEEP_ANGLES)] = list(STEEP_ANGLES.values())
    gain = np.array(world.angle_gain)
    gain = gain + (gain != 0.0) * generator.normal(0.0, ANGLE_GAIN_SPREAD, len(gain))
    effect = ((angle - usual) / MUD_STEP_DEG)[:, None] * gain
    return replace(
        truth, mean=truth.mean + effect, log_capacity=truth.log_capacity + effect, fluke_angle=angle
    )


def _mean(
    world: World,
    generator: np.random.Generator,
    stiffness: Array,
    cover_need: Array,
    forms: NDArray[np.str_],
    measured: tuple[Array, Array, Array],
    features: Array,
) -> tuple[Array, Array]:
    """Return what the world's laws say of log capacity, and what chance adds to it."""
    mass, tip_load, shape = measured
    size = np.log(mass / 10.0)[:, None]
    exponent = generator.normal(0.0, SPREAD["exponent"], len(SEABEDS))
    ground = generator.normal(0.0, SPREAD["ground_peak" if world.peak else "ground"], len(SEABEDS))
    efficiency = 3.35 - 0.9 * (stiffness - 0.1) ** 2 if world.peak else 3.0 + 0.65 * stiffness
    needed = np.log(1.0) + 1.2 * stiffness + generator.normal(0.0, 0.25, len(SEABEDS)) + cover_need
    margin = np.log(tip_load)[:, None] - 0.4 * size - needed
    names = sorted(set(FORMS))
    by_form = generator.normal(0.0, SPREAD["form"], (len(names), 1)) + generator.normal(
        0.0, SPREAD["form_seabed"], (len(names), len(SEABEDS))
    )
    form = by_form[[names.index(name) for name in forms]]
    learnable = (
        efficiency
        + np.log(10.0 * GRAVITY)
        + (0.87 - 0.03 * stiffness) * size
        + 0.6 * np.log(shape / 0.017)[:, None]
        + _entry(world.entry, margin)
    )
    by_feature = features @ _feature_effects(world, generator)
    added = ground + exponent * size + form
    # What the one feature does is no chance of the world of that name: it is that world's law.
    return (learnable + by_feature, added) if world.lone_feature else (learnable, added + by_feature)


def _entry(kind: str, margin: Array) -> Array:
    """Log share of the full holding that a tip's load allows, from the log of load over need."""
    if kind == "free":
        return np.zeros_like(margin)
    if kind == "cliff":
        return np.where(margin < 0.0, np.log(1.0 / 3.0), 0.0)
    return np.asarray(np.log(-np.expm1(-np.exp(1.2 * margin))))


def _feature_effects(world: World, generator: np.random.Generator) -> Array:
    """Log effect of each feature in each seabed, shape (feature, seabed)."""
    main = generator.normal(0.0, SPREAD["feature"], (len(FEATURES), 1))
    effects = main + generator.normal(0.0, SPREAD["feature_seabed"], (len(FEATURES), len(SEABEDS)))
    if world.lone_feature:
        effects = np.zeros_like(effects)
        effects[1, LONE_SEABED] = -0.8
    return effects


def _own_effects(world: World, generator: np.random.Generator, stiffness: Array) -> tuple[Array, Array]:
    """Draw the designs' own effects, shape (anchor, seabed), and return their covariance over cells too.

    Drawn part by part: a draw from the covariance as a whole would come through its eigenvectors, which
    differ between processors where eigenvalues are repeated.
    """
    spread = FAMILY_SPREAD if world.families else OWN_SPREAD | {"odd": world.odd}
    designs, seabeds = len(SIZES), len(SEABEDS)
    by_design = (
        generator.normal(0.0, spread["main"], (designs, 1))
        + generator.normal(0.0, spread["trait"], (designs, 1)) * stiffness
        + generator.normal(0.0, spread["odd"], (designs, seabeds))
    )
    family = None
    if world.families:
        family = generator.permutation(np.arange(designs) % FAMILIES)
        by_design = by_design + generator.normal(0.0, spread["family"], (FAMILIES, seabeds))[family]
    own = by_design[DESIGN_OF] + generator.normal(0.0, spread["configuration"], (len(ANCHORS), 1))
    return own, _covariance(spread, stiffness, family)


def _covariance(spread: dict[str, float], stiffness: Array, family: NDArray[np.int64] | None) -> Array:
    """Covariance of the designs' own effects over cells (anchor by anchor), families known to it."""
    anchor = np.repeat(np.arange(len(ANCHORS)), len(SEABEDS))
    seabed = np.tile(np.arange(len(SEABEDS)), len(ANCHORS))
    design = DESIGN_OF[anchor]
    here, same = seabed[:, None] == seabed, design[:, None] == design
    trait = np.multiply.outer(stiffness[seabed], stiffness[seabed])
    covariance = same * (spread["main"] ** 2 + spread["trait"] ** 2 * trait + spread["odd"] ** 2 * here)
    covariance = covariance + spread["configuration"] ** 2 * (anchor[:, None] == anchor)
    if family is not None:
        covariance = covariance + spread["family"] ** 2 * (family[design][:, None] == family[design]) * here
    return np.asarray(covariance, dtype=np.float64)

"""The campaign of `holdout.py`: who is pulled where, and what each refit does not see."""

import itertools
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign import Campaign, read_campaign

__all__ = ["KINDS", "Hidden", "choose_hidden", "hidden_pulls", "make_campaign", "mass_ratio", "scored_cells"]

PULLS = 150
TESTED_SEABEDS = (5, 6)  # of each anchor, in turn
LAYOUT_SEED = 11
KINDS = ("size", "anchor", "seabed")
"""What was never seen: a size of a design tested in other sizes, the only anchor of its design, a seabed."""
SIZES = {
    "A": ("scoop", (6.0, 9.0, 15.0)),
    "B": ("plough", (5.0, 10.0, 25.0)),
    "C": ("claw", (4.0, 12.0, 20.0)),
}
PARTED = {"D": ("scoop", 10.0), "E": ("plough", 9.0)}
SINGLES = {"F": ("twin_fluke", 7.0), "G": ("twin_fluke", 12.0), "H": ("stockless", 14.0),
           "I": ("grapnel", 8.0), "J": ("scoop", 12.0), "K": ("claw", 9.0),
           "L": ("plough", 11.0)}  # fmt: skip
NO_TIP_LOAD, NO_AREA = ("E", "G", "K"), ("D", "I")
SEABEDS = (
    {"seabed": "basin", "soil": "clay", "strength": "very_low"},
    {"seabed": "creek", "soil": "silt", "strength": "low"},
    {"seabed": "shelf", "soil": "clay", "strength": "medium"},
    {"seabed": "slope", "soil": "clay", "strength": "high"},
    {"seabed": "shoal", "soil": "sand", "strength": "loose"},
    {"seabed": "bar", "soil": "sand", "strength": "medium_dense"},
    {"seabed": "beach", "soil": "sand", "strength": "dense"},
    {"seabed": "spit", "soil": "gravel", "strength": "dense"},
)


@dataclass(frozen=True)
class Hidden:
    """What one refit does not see.

    Attributes
    ----------
    size : an anchor, the largest or smallest of a design tested in other sizes.
    anchor : the only anchor of its design.
    seabed : a seabed; its soil and strength class stay known.
    """

    size: str
    anchor: str
    seabed: str


def _anchor(design: str, form: str, mass: float, part: str, ratios: NDArray[np.float64]) -> dict[str, object]:
    tip, area = ratios
    return {
        "anchor": f"{design}-{mass:g}",
        "design": design,
        "form": form,
        "mass_kg": mass,
        "tip_load_kg": "" if design in NO_TIP_LOAD else round(tip * mass, 2),
        "fluke_area_m2": "" if design in NO_AREA else round(area * mass ** (2 / 3), 4),
        "flag_roll_bar": part,
    }


def _anchors() -> list[dict[str, object]]:
    """Return 20 anchors of 12 designs: three in three sizes, two with and without a part, seven alone."""
    generator = np.random.default_rng(LAYOUT_SEED)
    members = [(design, form, mass, "no") for design, (form, masses) in SIZES.items() for mass in masses]
    for design, (form, mass) in PARTED.items():
        members += [(design, form, mass, "no"), (design, form, mass + 0.8, "yes")]
    members += [
        (design, form, mass, "yes" if design == "J" else "no") for design, (form, mass) in SINGLES.items()
    ]
    rows = []
    for _, family in itertools.groupby(members, key=lambda member: member[0]):
        ratios = np.array([generator.uniform(0.15, 0.45), generator.uniform(0.014, 0.022)])
        # Sizes of one design are not quite of one shape.
        rows += [_anchor(*member, ratios * np.exp(0.05 * generator.standard_normal(2))) for member in family]
    return rows


def _trials(anchors: list[dict[str, object]]) -> list[dict[str, object]]:
    """Return pulls in about two cells of three, in two visits a seabed; their loads come later."""
    generator = np.random.default_rng(LAYOUT_SEED + 1)
    tested = [
        (anchor["anchor"], SEABEDS[seabed]["seabed"])
        for place, anchor in enumerate(anchors)
        for seabed in generator.permutation(len(SEABEDS))[: TESTED_SEABEDS[place % len(TESTED_SEABEDS)]]
    ]
    again = generator.permutation(len(tested))[: PULLS - len(tested)]
    rows: list[dict[str, object]] = []
    for number, (anchor, seabed) in enumerate([*tested, *(tested[place] for place in again)]):
        visit = f"{seabed} {generator.integers(2)}"
        rows.append({"trial": f"t{number:03d}", "anchor": anchor, "seabed": seabed, "test": "pull",
                     "visit": visit, "held_n": 1000, "released_n": 1100})  # fmt: skip
    return rows


def make_campaign() -> Campaign:
    """Return the campaign; its readings are to be replaced."""
    anchors = _anchors()
    with tempfile.TemporaryDirectory() as folder:
        for name, rows in {"anchors": anchors, "seabeds": SEABEDS, "trials": _trials(anchors)}.items():
            pd.DataFrame(rows).to_csv(Path(folder) / f"{name}.csv", index=False)
        return read_campaign(folder)


def choose_hidden(number: int) -> Hidden:
    """Return what a campaign hides, by its number: seabeds, sizes and anchors take turns."""
    ends = [(design, masses[end]) for end in (-1, 0) for design, (_, masses) in SIZES.items()]
    # Six ends and eight seabeds have a common divisor; a shift after each round of 24 brings all pairs.
    design, mass = ends[(number + number // 24) % len(ends)]
    single = list(SINGLES)[number % len(SINGLES)]
    return Hidden(
        f"{design}-{mass:g}", f"{single}-{SINGLES[single][1]:g}", SEABEDS[number % len(SEABEDS)]["seabed"]
    )


def mass_ratio(campaign: Campaign, hidden: Hidden) -> float:
    """Return the hidden size's mass over that of the nearest size of its design which is seen."""
    mass, design = campaign.anchors["mass_kg"], campaign.anchors["design"]
    seen = mass[(design == design[hidden.size]) & (mass.index != hidden.size)]
    ratios = mass[hidden.size] / seen.to_numpy(dtype=float)
    return float(ratios[np.abs(np.log(ratios)).argmin()])


def hidden_pulls(inputs: xr.Dataset, hidden: Hidden) -> NDArray[np.bool_]:
    """Return which pulls are of anything hidden, shape (trial,)."""
    anchor = inputs["anchor"].to_numpy()[inputs["anchor_of"].to_numpy()]
    seabed = inputs["seabed"].to_numpy()[inputs["seabed_of"].to_numpy()]
    return np.isin(anchor, [hidden.size, hidden.anchor]) | (seabed == hidden.seabed)


def scored_cells(inputs: xr.Dataset, hidden: Hidden) -> dict[str, list[tuple[str, str]]]:
    """Return the cells of each kind, (anchor, seabed): no cell is in two kinds, or hidden twice over."""
    anchors = [str(name) for name in inputs["anchor"].to_numpy()]
    seabeds = [str(name) for name in inputs["seabed"].to_numpy() if name != hidden.seabed]
    others = [name for name in anchors if name not in (hidden.size, hidden.anchor)]
    return {
        "size": [(hidden.size, seabed) for seabed in seabeds],
        "anchor": [(hidden.anchor, seabed) for seabed in seabeds],
        "seabed": [(anchor, hidden.seabed) for anchor in others],
    }

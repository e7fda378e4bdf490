"""Invented logs in the shape of a handbook's table: many designs, three sizes each, two grounds.

Nothing here was measured.  Each design is pulled on a day of its own in each ground, so that nothing but the
spread of other days tells a day from what the design does in that ground.  Only masses are known.
"""

import csv
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out

__all__ = ["GROUNDS", "KINDS", "Log", "draw_log"]

GROUNDS = (("mud", "clay", "low"), ("sand", "sand", "medium_dense"))
FORMS = ("scoop", "plough", "claw", "twin_fluke", "stock")
DESIGNS = 20
SIZES_KG = (8.0, 15.0, 30.0)
LEVELS = np.log(np.array([900.0, 2000.0]))  # of 10 kg in each ground [log N]
EXPONENT, EXPONENT_SPREAD = 0.9, 0.03
FORM, FORM_GROUND, DESIGN, CONFIGURATION = 0.30, 0.15, 0.20, 0.05
VISIT, SCATTER, FREEDOM = 0.15, 0.20, 5.0
BLOCKS, SINGLES = 4, 10
"""Designs that are hidden in one ground whole, in each ground; single cells hidden on top."""


@dataclass(frozen=True)
class Kind:
    """How a design's own effects differ between the two grounds."""

    said: str
    difference: float  # sd of a design's effect in one ground less that in the other
    shared_days: bool = False  # all designs of a ground on three days
    visit: float = VISIT  # sd of what a day does to all its pulls


KINDS = {
    "apart_alone": Kind("designs differ much between grounds, a day each", 0.66),
    "alike_alone": Kind("designs differ little between grounds, a day each", 0.20),
    "apart_shared": Kind("designs differ much between grounds, three days in each ground", 0.66, True),
    "rough_alone": Kind("designs and days differ much, a day each", 0.66, visit=2.0 * VISIT),
}


@dataclass(frozen=True)
class Log:
    """One campaign: what is true, shape (anchor, seabed), what is hidden, and what the program is told."""

    truth: NDArray[np.float64]
    block: NDArray[np.bool_]
    single: NDArray[np.bool_]
    inputs: xr.Dataset


def draw_log(kind: Kind, generator: np.random.Generator) -> Log:
    """Draw one log."""
    design_of = np.repeat(np.arange(DESIGNS), len(SIZES_KG))
    mass = np.tile(SIZES_KG, DESIGNS)
    form = generator.permutation(np.arange(DESIGNS) % len(FORMS))
    size = np.log(mass / 10.0)[:, None] * (EXPONENT + generator.normal(0.0, EXPONENT_SPREAD, 2))
    by_form = generator.normal(0.0, FORM, (len(FORMS), 1)) + generator.normal(
        0.0, FORM_GROUND, (len(FORMS), 2)
    )
    by_design = generator.normal(0.0, DESIGN, (DESIGNS, 1)) + generator.normal(
        0.0, kind.difference / np.sqrt(2.0), (DESIGNS, 2)
    )
    configuration = generator.normal(0.0, CONFIGURATION, (len(mass), 1))
    truth = LEVELS + size + (by_form[form] + by_design)[design_of] + configuration
    block, single = _hidden(design_of, generator)
    day = np.tile(np.arange(DESIGNS) % 3 if kind.shared_days else np.arange(DESIGNS), (2, 1)).T[design_of]
    visits = generator.normal(0.0, kind.visit, (DESIGNS, 2))
    load = truth + np.take_along_axis(visits, day, axis=0)
    load = load + SCATTER * generator.standard_t(FREEDOM, truth.shape)
    with tempfile.TemporaryDirectory() as folder:
        _write(Path(folder), mass, [FORMS[f] for f in form[design_of]], design_of, load, day, block | single)
        return Log(truth, block, single, lay_out(read_campaign(Path(folder))))


def _hidden(
    design_of: NDArray[np.int64], generator: np.random.Generator
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which cells are hidden with their design's whole ground, and which alone; no design in both."""
    order = generator.permutation(DESIGNS)
    block = np.zeros((len(design_of), 2), dtype=bool)
    for ground in range(2):
        block[np.isin(design_of, order[ground * BLOCKS : (ground + 1) * BLOCKS]), ground] = True
    single = np.zeros_like(block)
    left = order[2 * BLOCKS :]
    for design in generator.permutation(left)[:SINGLES]:
        anchor = np.flatnonzero(design_of == design)[generator.integers(len(SIZES_KG))]
        single[anchor, generator.integers(2)] = True
    return block, single


def _write(
    folder: Path,
    mass: NDArray[np.float64],
    forms: list[str],
    design_of: NDArray[np.int64],
    load: NDArray[np.float64],
    day: NDArray[np.int64],
    hidden: NDArray[np.bool_],
) -> None:
    """Write the campaign; a cell's one load is read as between two steps of 5%."""
    anchors = [f"a{place:02d}" for place in range(len(mass))]
    held = np.exp(np.floor(load / 0.05) * 0.05)
    files = {
        "anchors.csv": [
            ["anchor", "design", "form", "mass_kg"],
            *([a, f"d{design_of[i]:02d}", forms[i], mass[i]] for i, a in enumerate(anchors)),
        ],
        "seabeds.csv": [["seabed", "soil", "strength"], *map(list, GROUNDS)],
        "trials.csv": [
            ["trial", "anchor", "seabed", "test", "visit", "held_n", "released_n"],
            *(
                [
                    f"{anchors[a]}-{g}",
                    anchors[a],
                    GROUNDS[g][0],
                    "pull",
                    f"v{day[a, g]:02d}",
                    round(held[a, g], 1),
                    round(held[a, g] * np.exp(0.05), 1),
                ]
                for a, g in zip(*np.nonzero(~hidden), strict=True)
            ),
        ],
    }
    for name, rows in files.items():
        with (folder / name).open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows(rows)

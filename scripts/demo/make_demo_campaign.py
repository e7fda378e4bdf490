"""Make the invented demo campaign in data/demo and its hidden truth in data/demo_truth.csv.

Everything is invented: no anchor, place or person behind it exists, and nothing was measured. The same seed
gives the same files. Run as ``python scripts/demo/make_demo_campaign.py --seed 2 [--out FOLDER]``.
"""

import argparse
import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from demo_log import BOW_HEIGHT_M, Row, Visit, chance_to_skate, pulls, visit_effects
from demo_rode import RODES, Geometry, bow_load_at_break_out
from demo_setting import chance_to_dig_in_again, kept_share, reset_rows, veer_rows
from demo_world import ANCHORS, SEABEDS, true_capacity

COMMITTED_SEED = 2
NO_TIP_LOAD = ("E-15", "I-12", "J-08")
NO_AREA = ("F-10-tip", "J-08", "L-14")
FLAGS = ("roll_bar", "tip_weight", "mud_palms", "upturned_edge")
TRIAL_COLUMNS = (
    "trial", "anchor", "seabed", "test", "date", "visit", "held_n", "released_n", "stopped_by", "load_at",
    "speed_mps", "scope", "depth_m", "rode", "drag_m", "hold_s", "instrument", "set", "attempts", "successes",
    "reversal_deg", "veer_deg", "veer_held_deg", "exclude", "note",
)  # fmt: skip
CAMPAIGN = f"""\
# An invented campaign: no anchor, place or person in it exists, and nothing in it was measured.
title = "A harbour's volunteer test group (invented demonstration)"
author = "invented"
licence = "CC0-1.0"
units = "si"

[boat]
bow_height_m = {BOW_HEIGHT_M}
"""


def blank_if_none(value: float | None) -> str:
    """Write a number as short as it goes; nothing measured is blank."""
    return "" if value is None else f"{value:g}"


def anchor_rows() -> list[Row]:
    """Rows of anchors.csv."""
    return [
        {
            "anchor": anchor.name,
            "design": anchor.design,
            "form": anchor.form,
            "mass_kg": f"{anchor.mass:g}",
            "tip_load_kg": "" if anchor.name in NO_TIP_LOAD else f"{anchor.tip_load:g}",
            "fluke_area_cm2": "" if anchor.name in NO_AREA else f"{anchor.area * 1e4:.0f}",
            "fluke_angle_deg": str(anchor.fluke_angle),
            "shank_length_m": f"{anchor.shank:g}",
            **{f"flag_{flag}": "yes" if flag in anchor.flags else "no" for flag in FLAGS},
            "source": "lent" if anchor.design in "CGK" else "bought",
            "measured_by": "the group",
        }
        for anchor in ANCHORS
    ]


def seabed_rows() -> list[Row]:
    """Rows of seabeds.csv."""
    return [
        {
            "seabed": seabed.name,
            "soil": seabed.soil,
            "secondary": seabed.secondary,
            "strength": seabed.strength,
            "strength_basis": seabed.basis,
            "undrained_strength_kpa": blank_if_none(seabed.undrained_kpa),
            "friction_angle_deg": blank_if_none(seabed.friction_deg),
            "cover": seabed.cover,
            "travel_h": f"{seabed.travel_h:g}",
            "setup_h": "0.5",
            "pull_h": "0.25",
        }
        for seabed in SEABEDS
    ]


def rode_rows() -> list[Row]:
    """Rows of rodes.csv."""
    return [
        {
            "rode": rode.name,
            "chain_kg_per_m": f"{rode.chain_kg_per_m:g}",
            "chain_length_m": f"{rode.chain_length_m:g}",
            "grade": str(rode.grade),
            "chain_mm": str(rode.chain_mm),
            "shackle_in": f"{rode.shackle_in:g}",
        }
        for rode in RODES
    ]


def trial_rows(generator: np.random.Generator, capacity_n: NDArray[np.float64]) -> list[Row]:
    """Rows of trials.csv, numbered in the order of the dates."""
    effects = visit_effects(generator)
    rows = pulls(generator, capacity_n, effects)
    # Streams of their own: another reset or turn leaves every straight pull as it was.
    of_resets, of_veers = generator.spawn(2)
    rows += reset_rows(of_resets, capacity_n, effects) + veer_rows(of_veers, capacity_n, effects)
    rows.sort(key=lambda row: (row["date"], row["visit"]))
    return [{"trial": f"T{number:03d}", **row} for number, row in enumerate(rows, start=1)]


def truth_rows(capacity_n: NDArray[np.float64]) -> list[Row]:
    """Every cell's true capacity and chances, tested or not, and the bow load the group would read at it."""
    usual = Geometry(RODES[0], Visit("", "").depth_m + BOW_HEIGHT_M, Visit("", "").scope)
    return [
        {
            "anchor": anchor.name,
            "seabed": seabed.name,
            "capacity_n": f"{capacity_n[i, j]:.0f}",
            "as_read_n": f"{bow_load_at_break_out(float(capacity_n[i, j]), usual):.0f}",
            "digs_in": f"{1.0 - chance_to_skate(anchor, seabed):.3f}",
            "digs_in_again": f"{chance_to_dig_in_again(anchor, seabed):.3f}",
            "kept_after_180": f"{kept_share(anchor, 180.0):.3f}",
        }
        for i, anchor in enumerate(ANCHORS)
        for j, seabed in enumerate(SEABEDS)
    ]


def write_table(path: Path, rows: list[Row], columns: Sequence[str] = ()) -> None:
    """Write rows as CSV with the columns given, or those of the first row."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, columns or list(rows[0]), restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def write_campaign(out: Path, seed: int) -> None:
    """Write the campaign into `out`/demo and the truth beside it."""
    generator = np.random.default_rng(seed)
    capacity_n = true_capacity(generator)
    folder = out / "demo"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "campaign.toml").write_text(CAMPAIGN, encoding="utf-8")
    write_table(folder / "anchors.csv", anchor_rows())
    write_table(folder / "seabeds.csv", seabed_rows())
    write_table(folder / "rodes.csv", rode_rows())
    instruments = [
        {"instrument": "cell 1", "calibrated": "2024-03-02", "error_pct": "2"},
        {"instrument": "cell 2", "calibrated": "2024-08-24", "error_pct": "1"},
    ]
    write_table(folder / "instruments.csv", instruments)
    write_table(folder / "trials.csv", trial_rows(generator, capacity_n), TRIAL_COLUMNS)
    write_table(out / "demo_truth.csv", truth_rows(capacity_n))


def main() -> None:
    """Read the command line and write the files."""
    data = Path(__file__).resolve().parents[2] / "data"
    parser = argparse.ArgumentParser(description="Make the invented demo campaign.")
    parser.add_argument("--seed", type=int, default=COMMITTED_SEED, help="seed of the random numbers")
    parser.add_argument("--out", type=Path, default=data, help="folder for demo/ and demo_truth.csv")
    arguments = parser.parse_args()
    write_campaign(arguments.out, arguments.seed)
    print(f"wrote {arguments.out / 'demo'} and {arguments.out / 'demo_truth.csv'} with seed {arguments.seed}")


if __name__ == "__main__":
    main()

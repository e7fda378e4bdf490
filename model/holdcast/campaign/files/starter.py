"""An empty campaign for a tester to fill: headers, one example row a file, and a guide."""

from collections.abc import Mapping
from pathlib import Path

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.files.guide import GUIDE
from holdcast.campaign.records import CampaignError

__all__ = ["EXAMPLE_LABELS", "STARTER_FILES", "write_starter"]

_SETTINGS = """\
# Everything here may stay as it is. Remove the # before a line to use it.
title = ""
author = ""
licence = ""        # under which others may use the log, such as "CC-BY-4.0"
units = "si"        # "si" or "us", for the screen only; columns name their own units

# [boat]
# bow_height_m = 1.2     # bow roller above the water; used where a trial gives none

# [thresholds]
# efficiency = 10        # shows how likely each anchor holds more than so many times its weight

# [weights]              # for an overall ranking; seabeds by their names
# "example seabed" = 1.0
# [weights.kinds]        # kinds of test in that ranking; pulls alone where this table is missing
# pull = 1.0
# reset = 1.0
# veer = 0.5

# [priors.NAME]          # replaces a prior; the guide to the model lists the names
"""

# One pair a column: its name and the example's cell.
_EXAMPLES: Mapping[str, Mapping[str, str]] = {
    "anchors.csv": {
        "anchor": "example scoop 15",
        "design": "example scoop",
        "form": "scoop",
        "mass_kg": "15.2",
        "tip_load_kg": "5.6",
        "fluke_area_m2": "0.101",
        "fluke_angle_deg": "32",
        "shank_length_m": "0.74",
        "flag_roll_bar": "yes",
        "shackle_in": "3/8",
        "source": "bought",
        "measured_by": "tester",
    },
    "seabeds.csv": {
        "seabed": "example seabed",
        "soil": "sand",
        "secondary": "silt",
        "strength": "medium_dense",
        "strength_scheme": "iso_14688_2",
        "strength_basis": "grab",
        "undrained_strength_kpa": "",
        "friction_angle_deg": "",
        "cover": "none",
        "site": "north bay",
        "travel_h": "1.5",
        "setup_h": "0.5",
        "pull_h": "0.25",
    },
    "trials.csv": {
        "trial": "example 1",
        "anchor": "example scoop 15",
        "seabed": "example seabed",
        "test": "pull",
        "date": "2024-05-31",
        "visit": "",
        "held_kn": "2.0",
        "released_kn": "2.5",
        "stopped_by": "anchor",
        "load_at": "bow",
        "speed_kt": "",
        "scope": "5",
        "rode_length_m": "31",
        "depth_m": "5",
        "bow_height_m": "1.2",
        "rode": "example rode",
        "drag_m": "1.5",
        "hold_s": "30",
        "soak_h": "",
        "instrument": "example cell",
        "set": "yes",
        "attempts": "",
        "successes": "",
        "reversal_deg": "",
        "veer_deg": "",
        "veer_held_deg": "",
        "exclude": "",
        "note": "delete this row",
        "photo": "",
    },
    "rodes.csv": {
        "rode": "example rode",
        "chain_kg_per_m": "1.40",
        "chain_length_m": "10",
        "grade": "40",
        "chain_mm": "8",
        "shackle_in": "3/8",
    },
    "instruments.csv": {"instrument": "example cell", "calibrated": "2024-03-01", "error_pct": "1"},
}


EXAMPLE_LABELS: Mapping[str, str] = {file: next(iter(row.values())) for file, row in _EXAMPLES.items()}
"""The label of each file's example row, which is to be deleted."""


def _csv(row: Mapping[str, str]) -> str:
    return f"{','.join(row)}\n{','.join(row.values())}\n"


STARTER_FILES: Mapping[str, str] = {
    "GUIDE.md": GUIDE,
    "campaign.toml": _SETTINGS,
    **{name: _csv(row) for name, row in _EXAMPLES.items()},
}


def write_starter(folder: str | Path) -> list[Path]:
    """Write an empty campaign; nothing that is there is overwritten.

    Parameters
    ----------
    folder : str or Path
        Made when it is not there.

    Returns
    -------
    list of Path
        The files written, the guide first.

    Raises
    ------
    CampaignError
        When the folder has any of the files already, or the path is no folder; nothing is written.
    OSError
        When the machine does not let the folder or a file be written.
    """
    target = Path(folder)
    findings = Findings()
    if not target.is_dir() and (target.exists() or target.is_symlink()):
        fix = "Choose the name of a folder that is not there yet, or an empty one."
        findings.fault(target.name, "a file", "a folder", fix)
    for name in STARTER_FILES:
        # A broken link would be written through, to wherever it points.
        if target.is_dir() and ((target / name).exists() or (target / name).is_symlink()):
            fix = "Nothing was written. Choose another folder, or move the file away first."
            findings.fault(name, f"it is in {target.name or target} already", "a folder without it", fix)
    if findings.any_fault:
        raise CampaignError(findings.shown(tuple(STARTER_FILES)))
    target.mkdir(parents=True, exist_ok=True)
    return [_write_new(target / name, text) for name, text in STARTER_FILES.items()]


def _write_new(path: Path, text: str) -> Path:
    """Write a file that must not be there, even when it came into being a moment ago."""
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text)
    return path

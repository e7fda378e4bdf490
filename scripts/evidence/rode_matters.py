"""Show what the rode is worth: fit the demo with and without its rode and scope, against its truth.

Run as ``python scripts/evidence/rode_matters.py [--out docs/rode.md]``: two fits, one compiled model each.
"""

import argparse
import csv
import shutil
import tempfile
from pathlib import Path

import numpy as np
import xarray as xr

from holdcast.campaign import read_campaign
from holdcast.capacity import Fit, fit
from holdcast.package_data import path
from pages.version import version_line

GEOMETRY = ("scope", "depth_m", "rode", "rode_length_m", "bow_height_m", "chain_kg_per_m", "chain_length_m")


def blank_geometry(campaign: Path) -> None:
    """Empty the columns of trials.csv that tell how the rode lay; the readings stay."""
    trials = campaign / "trials.csv"
    with trials.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    with trials.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows([{**row, **{name: "" for name in GEOMETRY if name in row}} for row in rows])


def truth() -> xr.DataArray:
    """Return the log of the invented capacities, dims (anchor, seabed)."""
    with path("demo_truth.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    anchors = list(dict.fromkeys(row["anchor"] for row in rows))
    seabeds = list(dict.fromkeys(row["seabed"] for row in rows))
    values = {(row["anchor"], row["seabed"]): float(row["capacity_n"]) for row in rows}
    table = np.log([[values[anchor, seabed] for seabed in seabeds] for anchor in anchors])
    return xr.DataArray(table, dims=("anchor", "seabed"), coords={"anchor": anchors, "seabed": seabeds})


def score(fitted: Fit, wanted: xr.DataArray) -> dict[str, float]:
    """Return error, bias, width and coverage of the 90% band over tested and over untested cells."""
    draws = fitted.posterior["log_capacity"]
    wanted = wanted.sel(anchor=draws["anchor"], seabed=draws["seabed"])
    error = draws.mean(("chain", "draw")) - wanted
    band = draws.quantile([0.05, 0.95], ("chain", "draw"))
    inside = (wanted >= band[0]) & (wanted <= band[1])
    tested = fitted.inputs["pull_weight"] > 0.0
    scores = {}
    for name, cells in (("tested", tested), ("untested", ~tested)):
        scores[f"{name}_error"] = float(np.sqrt((error.where(cells) ** 2).mean()))
        scores[f"{name}_bias"] = float(error.where(cells).mean())
        scores[f"{name}_width"] = float((band[1] - band[0]).where(cells).mean())
        scores[f"{name}_covered"] = float(inside.where(cells).mean())
    return scores


def page(with_rode: dict[str, float], without: dict[str, float]) -> str:
    """Return the comparison as a table for the documents."""
    lines = [
        "# What the rode is worth",
        "",
        "Made by `scripts/evidence/rode_matters.py`: the invented demo campaign (scopes 3.5 to 8, loads read",
        "at the bow), fitted with its rode, depth and scope, and with those cells emptied, so that each pull",
        "counts as read.  Scored against the invented truth: log capacity for a pull along the bottom, load",
        "taken at the anchor.",
        "",
        "| | cells | error (rms) | bias | width of 90% band | 90% band covers |",
        "|---|---|---|---|---|---|",
    ]
    for what, scores in (("with the rode", with_rode), ("ignoring the rode", without)):
        for cells in ("tested", "untested"):
            error, bias, width, covered = (
                scores[f"{cells}_{name}"] for name in ("error", "bias", "width", "covered")
            )
            lines.append(f"| {what} | {cells} | {error:.3f} | {bias:+.3f} | {width:.2f} | {covered:.0%} |")
    return "\n".join([*lines, "", version_line(), ""])


def main() -> None:
    """Fit both ways and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=None)
    options = parser.parse_args()
    wanted, scores = truth(), []
    for blank in (False, True):
        with tempfile.TemporaryDirectory() as scratch:
            campaign = Path(scratch) / "campaign"
            shutil.copytree(path("demo"), campaign)
            if blank:
                blank_geometry(campaign)
            fitted = fit(read_campaign(campaign))
            print("; ".join(fitted.verdict.sentences), flush=True)
            scores.append(score(fitted, wanted))
    text = page(*scores)
    if options.out:
        options.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()

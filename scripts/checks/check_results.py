"""Check that a results folder is whole: a row for every anchor and seabed, ordered bands, a good verdict.

Run as ``python scripts/checks/check_results.py CAMPAIGN [RESULTS]``; RESULTS defaults to CAMPAIGN/results.
Exit status 1 with one line for each fault.
"""

import csv
import json
import math
import sys
from pathlib import Path

Row = dict[str, str]
ORDERED = (
    ("capacity_n_q05", "capacity_n_q25", "capacity_n_q50", "capacity_n_q75", "capacity_n_q95"),
    ("efficiency_q05", "efficiency_q25", "efficiency_q50", "efficiency_q75", "efficiency_q95"),
    ("new_pull_n_q05", "new_pull_n_q50", "new_pull_n_q95"),
)
FILES = ("cells.csv", "verdict.json", "excluded.csv", "posterior.nc", "report.html")


def table(path: Path) -> list[Row]:
    """Read a CSV file written with commas."""
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def cell_faults(cells: list[Row], anchors: list[str], seabeds: list[str]) -> list[str]:
    """List what is wrong with the cell table: missing, doubled or unknown cells, disordered bands."""
    expected = {(anchor, seabed) for anchor in anchors for seabed in seabeds}
    named = [(row["anchor"], row["seabed"]) for row in cells]
    faults = []
    if len(named) != len(expected) or set(named) != expected:
        faults.append(
            f"cells.csv has {len(named)} rows, {len(set(named) & expected)} of them of the campaign's cells; "
            f"{len(anchors)} anchors x {len(seabeds)} seabeds make {len(expected)}"
        )
    for row in cells:
        for columns in ORDERED:
            values = [float(row[column] or "nan") for column in columns]
            if not all(math.isfinite(value) and value > 0 for value in values) or values != sorted(values):
                faults.append(f"{row['anchor']} in {row['seabed']}: {columns[0][:-4]} quantiles are {values}")
    return faults


def evidence_faults(cells: list[Row], trials: list[Row]) -> list[str]:
    """List cells whose evidence disagrees with the trial log."""
    used = {(t["anchor"], t["seabed"]) for t in trials if t["test"] == "pull" and not t.get("exclude", "")}
    return [
        f"{row['anchor']} in {row['seabed']} is called {row['evidence']}, the log says otherwise"
        for row in cells
        if (row["evidence"] == "tested") != ((row["anchor"], row["seabed"]) in used)
    ]


def main(campaign: Path, results: Path) -> None:
    """Check one results folder against its campaign."""
    missing = [name for name in FILES if not (results / name).is_file()]
    if missing:
        raise SystemExit(f"{results} lacks {', '.join(missing)}")
    cells = table(results / "cells.csv")
    anchors = [row["anchor"] for row in table(campaign / "anchors.csv")]
    seabeds = [row["seabed"] for row in table(campaign / "seabeds.csv")]
    faults = cell_faults(cells, anchors, seabeds) + evidence_faults(cells, table(campaign / "trials.csv"))
    verdict = json.loads((results / "verdict.json").read_text(encoding="utf-8"))
    if verdict["ok"] is not True:
        faults.append(f"the sampler's verdict is not ok: {verdict['sentences']}")
    if faults:
        raise SystemExit("\n".join(faults))
    print(f"{results}: {len(cells)} cells, {len(anchors)} anchors x {len(seabeds)} seabeds, verdict ok")


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    main(folder, Path(sys.argv[2]) if len(sys.argv) > 2 else folder / "results")

"""One anchor's own sheet: what it is, what it held by seabed, its places, and all its pulls."""

import math
from collections.abc import Sequence

import pandas as pd
import xarray as xr

from holdcast.show.report.page_data import Reader
from holdcast.show.text.cell_rows import words
from holdcast.show.text.numbers import format_efficiency, format_load, on_screen

__all__ = ["anchor_sheets"]

_UNITS = {"_kg": "kg", "_m2": "m²", "_m": "m", "_deg": "°", "_n": "N"}


def anchor_sheets(
    cells: xr.Dataset, reader: Reader, order: Sequence[str], units: str
) -> list[dict[str, object]]:
    """Return each anchor's sheet as text, in the order of the page."""
    return [
        {
            "name": name,
            "form": words(str(reader.anchors.loc[name, "form"])),
            "facts": _facts(reader, name, units),
            "seabeds": _seabeds(cells.sel(anchor=name), reader.ranking.sel(anchor=name), units),
            "pulls": _pulls(reader.trials[reader.trials["anchor"] == name], units),
        }
        for name in order
    ]


def _facts(reader: Reader, name: str, units: str) -> list[tuple[str, str]]:
    row = reader.anchors.loc[name]
    flags = [
        words(str(c)[5:])
        for c in row.index
        if str(c).startswith("flag_") and row[c] is not None and bool(row[c])
    ]
    facts = [("features", ", ".join(flags) or "none noted")]
    for column in row.index:
        label = str(column)
        if label.startswith("flag_") or label == "form":
            continue
        text = _fact(label, row[column], units)
        ending = next((end for end in _UNITS if label.endswith(end)), "")
        facts.append((words(label.removesuffix(ending)), text))
    return facts


def _fact(label: str, value: object, units: str) -> str:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if math.isnan(value):
            return "not measured"
        ending = next((end for end in _UNITS if label.endswith(end)), "")
        unit, size = on_screen(_UNITS.get(ending, ""), units)
        return f"{value / size:.3g}" + (unit if unit == "°" else f" {unit}" if unit else "")
    return str(value).strip() or "not recorded"


def _seabeds(cells: xr.Dataset, ranking: xr.Dataset, units: str) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for seabed in cells["seabed"].to_numpy():
        here, rank = cells.sel(seabed=seabed), ranking.sel(seabed=seabed)["rank"]
        loads = [float(here["capacity_n"].sel(quantile=q, method="nearest")) for q in (0.05, 0.5, 0.95)]
        low, high = (int(rank.sel(quantile=q, method="nearest")) for q in (0.05, 0.95))
        rows.append(
            {
                "seabed": str(seabed),
                "evidence": str(here["evidence"].item()) + (", never set" if _never_set(here) else ""),
                "loads": [format_load(load, units) for load in loads],
                "efficiency": format_efficiency(
                    float(here["efficiency"].sel(quantile=0.5, method="nearest"))
                ),
                "places": f"{low}" if low == high else f"{low}–{high}",
                "group": str(ranking.sel(seabed=seabed)["groups"].item()),
            }
        )
    return rows


def _never_set(cell: xr.Dataset) -> bool:
    return "never_set" in cell and bool(cell["never_set"].item())


def _pulls(trials: pd.DataFrame, units: str) -> list[list[str]]:
    def load(value: object) -> str:
        number = float(str(value))
        return "" if not math.isfinite(number) else format_load(number, units)

    return [
        [
            str(trial),
            str(row["date"]),
            str(row["seabed"]),
            str(row["test"]),
            load(row["held_n"]),
            load(row["released_n"]),
            str(row["status"]) + (f": {row['exclude']}" if row["status"] == "excluded" else ""),
        ]
        for trial, row in trials.sort_values("date", kind="stable").iterrows()
    ]

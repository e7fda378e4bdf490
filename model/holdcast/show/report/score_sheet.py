"""The score sheet: anchors by seabeds, one table a measure, each cell with its band."""

import math
from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.show.report.page_data import Reader
from holdcast.show.text.cell_rows import name_order, words
from holdcast.show.text.numbers import (
    format_chance,
    format_efficiency,
    format_load,
    format_share,
    load_unit,
    on_screen,
)

__all__ = ["anchor_order", "chances_table", "score_sheet"]

_Measure = tuple[str, str, str, Callable[[float], str], float | None]
"""Variable of the cells, title, note, how a number reads, and the tester's threshold."""
_SHARES = {
    "sets": ("sets", "chance that the anchor of a new pull digs in"),
    "resets": ("setting again", "chance that it digs in again after a reversal of 180°"),
    "veer_kept": ("veer", "share of the straight pull that is left after a turn of 180° under load"),
}


def anchor_order(cells: xr.Dataset) -> list[str]:
    """Return the anchors by form, then by name."""
    forms = dict(zip(cells["anchor"].to_numpy().tolist(), cells["form"].to_numpy().tolist(), strict=True))
    return sorted(forms, key=lambda name: (words(str(forms[name])), name_order(str(name))))


def score_sheet(cells: xr.Dataset, reader: Reader, units: str, threshold: float | None) -> dict[str, object]:
    """Return the score sheet's tables as text: capacity, efficiency, a new pull, setting where known.

    Parameters
    ----------
    cells : Dataset, dims (anchor, seabed, quantile)
    reader : Reader
        Its carried columns stand last.
    units : {"si", "us"}
    threshold : float, optional
        The tester's own efficiency; drawn as an upright line.
    """
    unit = load_unit(units)
    measures: list[_Measure] = [
        ("capacity_n", f"capacity, {unit}", "", lambda load: format_load(load, units), None),
        ("efficiency", "efficiency", "capacity over the anchor's weight", format_efficiency, threshold),
        (
            "new_pull_n",
            f"one new pull, {unit}",
            "nineteen of twenty reach the lower end",
            lambda load: format_load(load, units),
            None,
        ),
    ]
    measures += [
        (name, title, note, format_share, None) for name, (title, note) in _SHARES.items() if name in cells
    ]
    order = anchor_order(cells)
    return {
        "seabeds": [str(name) for name in cells["seabed"].to_numpy()],
        "carried": [words(str(name)) for name in reader.carried.columns],
        "carried_number": [_numeric(reader.carried[name]) for name in reader.carried.columns],
        "threshold": "" if threshold is None else format_efficiency(threshold),
        "tables": [_table(cells, reader, order, measure, units) for measure in measures],
        "forms": sorted({words(str(form)) for form in cells["form"].to_numpy()}),
    }


def _numeric(column: pd.Series) -> bool:
    filled = column[column.astype(str).str.strip() != ""]
    return len(filled) > 0 and bool(pd.to_numeric(filled, errors="coerce").notna().all())


def _table(
    cells: xr.Dataset,
    reader: Reader,
    order: Sequence[str],
    measure: _Measure,
    units: str,
) -> dict[str, object]:
    name, title, note, text, line = measure
    bands = cells[name].sel(quantile=[0.05, 0.5, 0.95], method="nearest", tolerance=1e-9)
    values = bands.transpose("anchor", "seabed", "quantile").sel(anchor=list(order)).to_numpy()
    rows = []
    for i, anchor in enumerate(order):
        here = cells.sel(anchor=anchor)
        evidence = here["evidence"].to_numpy().tolist()
        outside = (here["range"] == "outside").to_numpy().tolist()
        rows.append(
            {
                "anchor": anchor,
                "form": words(str(here["form"].item())),
                "mass_text": f"{float(here['mass_kg'].item()) / on_screen('kg', units)[1]:.3g}",
                "cells": [
                    _cell(values[i, j], evidence[j] == "tested", outside[j], text)
                    for j in range(values.shape[1])
                ],
                "carried": [_shown(reader.carried.loc[anchor, column]) for column in reader.carried.columns],
            }
        )
    return {
        "measure": name,
        "title": title,
        "note": note,
        "rows": rows,
        "line": "" if line is None else f"{line:g}",
    }


def _cell(
    band: NDArray[np.float64], tested: bool, outside: bool, text: Callable[[float], str]
) -> dict[str, object]:
    low, median, high = (text(float(value)) for value in band)
    return {"median": median, "band": f"{low}–{high}", "tested": tested, "outside": outside}


def _shown(value: object) -> str:
    return "" if value is None or (isinstance(value, float) and math.isnan(value)) else str(value)


def chances_table(reader: Reader, order: Sequence[str]) -> list[dict[str, object]]:
    """Return the first question's chances as text, a row an anchor."""
    tested = reader.draws["tested"]
    rows: list[dict[str, object]] = []
    for name in order:
        chances = reader.first_chances.sel(anchor=name)
        rows.append(
            {
                "anchor": name,
                "cells": [
                    (
                        format_chance(float(chances.sel(seabed=seabed))),
                        bool(tested.sel(anchor=name, seabed=seabed)),
                    )
                    for seabed in reader.draws["seabed"].to_numpy()
                ],
                "every": format_chance(float(chances.sel(seabed=""))),
            }
        )
    return rows

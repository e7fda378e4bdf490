"""The cell table as CSV text, in SI units, safe to open in a spreadsheet."""

import csv
import io
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
import xarray as xr

__all__ = ["as_csv", "cells_csv", "plain_cell", "table_csv"]

_CAPACITY = ("q05", "q25", "q50", "q75", "q95")
_NEW_PULL = ("q05", "q50", "q95")
_LEADERS = ("=", "+", "-", "@", "\t", "\r")


def plain_cell(text: str) -> str:
    """Return text that a spreadsheet shows rather than computes.

    A cell that begins like a formula gets an apostrophe in front, as spreadsheets themselves mark text.
    """
    return f"'{text}" if text.startswith(_LEADERS) else text


def as_csv(header: Sequence[str], rows: Iterable[Sequence[object]], *, approximate: bool = False) -> str:
    """Return rows as CSV text; numbers to 6 significant digits, NaN as blank.

    With ``approximate``, for rows of a quick fit, a first column of that name says yes in each of them: a
    file that is passed on alone still tells what it is.
    """
    if approximate:
        header, rows = ["approximate", *header], ([True, *row] for row in rows)
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return stream.getvalue()


def table_csv(table: pd.DataFrame, *, approximate: bool = False) -> str:
    """Return a table without its index as :func:`as_csv` writes it."""
    rows = table.astype(object).itertuples(index=False, name=None)
    return as_csv([str(name) for name in table], rows, approximate=approximate)


def _cell(value: object) -> str:
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | np.integer):
        return str(value)
    if isinstance(value, float | np.floating):
        return "" if np.isnan(value) else f"{value:z.6g}"
    return plain_cell(str(value))


def cells_csv(cells: xr.Dataset, *, approximate: bool = False) -> str:
    """Return the table of every anchor × seabed, in the order of the campaign's files.

    Parameters
    ----------
    cells : Dataset
        As made by :func:`holdcast.answers.cells.cells`, dims (anchor, seabed, quantile).
    approximate : bool
        Whether they come from a quick fit, which every row then says.
    """
    groups = (("capacity_n", _CAPACITY), ("efficiency", _CAPACITY), ("new_pull_n", _NEW_PULL))
    bands = [(variable, name) for variable, names in groups for name in names]
    header = ["anchor", "design", "seabed", "evidence", "pulls", "visits"]
    header += [f"{variable}_{name}" for variable, name in bands]
    header += ["own_data", "range", "above_threshold"]
    levels = {name: int(name[1:]) / 100.0 for name in _CAPACITY}
    columns = {
        (variable, name): cells[variable].sel(quantile=levels[name]).to_numpy() for variable, name in bands
    }
    facts = {
        name: cells[name].to_numpy()
        for name in ("evidence", "pulls", "visits", "own_data", "range", "above_threshold")
    }
    rows = []
    for a, (anchor, design) in enumerate(
        zip(cells["anchor"].to_numpy(), cells["design"].to_numpy(), strict=True)
    ):
        for s, seabed in enumerate(cells["seabed"].to_numpy()):
            row: list[object] = [
                anchor,
                design,
                seabed,
                *(facts[name][a, s] for name in ("evidence", "pulls", "visits")),
            ]
            row += [columns[band][a, s] for band in bands]
            row += [facts[name][a, s] for name in ("own_data", "range", "above_threshold")]
            rows.append(row)
    return as_csv(header, rows, approximate=approximate)

"""The cell table as CSV text, in SI units, safe to open in a spreadsheet."""

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd
import xarray as xr

__all__ = ["SETTING", "as_csv", "cells_csv", "plain_cell", "table_csv"]

_CAPACITY = ("q05", "q25", "q50", "q75", "q95")
_NEW_PULL = ("q05", "q50", "q95")
SETTING = ("sets", "resets", "veer_kept")
"""Variables of the cells that tell of setting, with bands; absent where the log has no such test."""
_SETTING_COUNTS = ("reset_attempts", "veers")
_OF_UPDATE = ("update_holds",)
"""Only in a table that new trials were added to."""
_LEADERS = ("=", "+", "-", "@", "\t", "\r")
_NUMBER = re.compile(r"[+-][0-9]+(?:[.,][0-9]+)?")
_KINDS = ("anchor", "seabed")


def plain_cell(text: str) -> str:
    """Return text that a spreadsheet shows rather than computes.

    A cell that begins like a formula gets an apostrophe in front, as spreadsheets themselves mark text; a
    number with a sign computes to nothing else.
    """
    return f"'{text}" if text.startswith(_LEADERS) and not _NUMBER.fullmatch(text) else text


def as_csv(header: Sequence[str], rows: Iterable[Sequence[object]], *, approximate: bool = False) -> str:
    """Return rows as CSV text; numbers to 6 significant digits, NaN as blank.

    With ``approximate``, for rows of a quick fit, a first column of that name says yes in each of them: a
    file that is passed on alone still tells what it is.
    """
    if approximate:
        header, rows = ["approximate", *header], ([True, *row] for row in rows)
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(map(plain_cell, header))
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


def cells_csv(
    cells: xr.Dataset, *, approximate: bool = False, carried: Mapping[str, pd.DataFrame] | None = None
) -> str:
    """Return the table of every anchor × seabed, in the order of the campaign's files.

    Parameters
    ----------
    cells : Dataset
        As made by :func:`holdcast.answers.cells.cells.cells`, dims (anchor, seabed, quantile).
    approximate : bool
        Whether they come from a quick fit, which every row then says.
    carried : mapping of "anchor" and "seabed" to DataFrame, optional
        Columns of the tester's own by label, which stand last.

    Raises
    ------
    KeyError
        When a carried table lacks an anchor or a seabed.
    """
    whole = {
        **{name: cells[name] for name in ("evidence", "pulls", "visits")},
        **_band_columns(cells, "capacity_n", _CAPACITY),
        **_band_columns(cells, "efficiency", _CAPACITY),
        **_band_columns(cells, "new_pull_n", _NEW_PULL),
        **{name: cells[name] for name in ("own_data", "range", "above_threshold", "bounded")},
        **{
            column: values
            for name in SETTING
            for column, values in _band_columns(cells, name, _NEW_PULL).items()
        },
        **{name: cells.get(name) for name in _SETTING_COUNTS},
        **{name: cells[name] for name in _OF_UPDATE if name in cells},
    }
    # A log without any such test leaves its columns blank; they stand there all the same.
    blank = np.full((cells.sizes["anchor"], cells.sizes["seabed"]), np.nan)
    columns = [
        blank if values is None else values.transpose("anchor", "seabed").to_numpy()
        for values in whole.values()
    ]
    header = ["anchor", "design", "seabed", *whole]
    own = carried or {}
    header += _own_names(header, own)
    rows = []
    for a, (anchor, design) in enumerate(
        zip(cells["anchor"].to_numpy(), cells["design"].to_numpy(), strict=True)
    ):
        for s, seabed in enumerate(cells["seabed"].to_numpy()):
            row: list[object] = [anchor, design, seabed, *(values[a, s] for values in columns)]
            labels = {"anchor": str(anchor), "seabed": str(seabed)}
            row += [value for kind in _KINDS if kind in own for value in own[kind].loc[labels[kind]]]
            rows.append(row)
    return as_csv(header, rows, approximate=approximate)


def _band_columns(cells: xr.Dataset, variable: str, names: Sequence[str]) -> dict[str, xr.DataArray | None]:
    """Return a column for each quantile of a variable, such as "q05"; None where the cells lack it."""
    if variable not in cells:
        return dict.fromkeys((f"{variable}_{name}" for name in names), None)
    values = cells[variable]
    return {
        f"{variable}_{name}": values.sel(quantile=int(name[1:]) / 100.0, method="nearest", tolerance=1e-9)
        for name in names
    }


def _own_names(columns: Sequence[str], own: Mapping[str, pd.DataFrame]) -> list[str]:
    """Return names for carried columns: their own, or with ``anchor_`` or ``seabed_`` before a taken one."""
    own_names: list[str] = []
    names_in_use = {name.casefold() for name in (*columns, "approximate")}
    for kind, table in ((kind, own[kind]) for kind in _KINDS if kind in own):
        for name in map(str, table.columns):
            while name.casefold() in names_in_use:
                name = f"{kind}_{name}"
            own_names.append(name)
            names_in_use.add(name.casefold())
    return own_names

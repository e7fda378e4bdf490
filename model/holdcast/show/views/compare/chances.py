"""Chances of setting that moved between two results."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.text.numbers import format_chance
from holdcast.show.text.plain_table import each_row, plain_table
from holdcast.show.text.text_columns import wrap

__all__ = ["chance_lines", "more_rows", "moved_chances"]

_WORDS = {"sets": "sets", "resets": "sets again", "veer_kept": "kept in a turn"}
_TESTS = {"resets": "resets", "veer_kept": "veers"}


def moved_chances(chances: xr.Dataset, least: float) -> pd.DataFrame:
    """Return the chances whose median moved by at least a share of half the old band, the largest move first.

    Parameters
    ----------
    chances : Dataset
        From ``chances_moved``.
    least : float
        Share of half the old 90% band.

    Returns
    -------
    DataFrame
        Columns ``kind, anchor, seabed, move, band_ratio, outside, old_q05, old_q50, old_q95, new_q05,
        new_q50, new_q95``.
    """
    columns = {name: chances[name] for name in ("move", "band_ratio", "outside")}
    for age in ("old", "new"):
        for quantile in (0.05, 0.5, 0.95):
            value = chances[age].sel(quantile=quantile, method="nearest", tolerance=1e-9, drop=True)
            columns[f"{age}_q{round(100 * quantile):02d}"] = value
    table = xr.Dataset(columns).to_dataframe(dim_order=["kind", "anchor", "seabed"]).reset_index()
    table = table[table["move"].abs() >= least]
    return table.iloc[np.argsort(-table["move"].abs().to_numpy(), kind="stable")].reset_index(drop=True)


def chance_lines(chances: xr.Dataset, least: float, width: int, *, most: int) -> list[str]:
    """Return the chances that moved as a table, and which kinds of test only one log holds.

    Parameters
    ----------
    chances : Dataset
        From ``chances_moved``.
    least : float
        Moves below this share of half the old band are not told.
    width, most : int
        Width of a line; most rows.
    """
    table = moved_chances(chances, least)
    body = [
        [
            str(row.anchor),
            str(row.seabed),
            _WORDS[row.kind],
            _band(row.old_q05, row.old_q50, row.old_q95),
            _band(row.new_q05, row.new_q50, row.new_q95),
            f"{row.move:+z.0%}",
        ]
        for row in each_row(table[:most])
    ]
    lone = [
        f"Only the {pair.rpartition(': ')[2]} log holds {_TESTS[pair.rpartition(': ')[0]]}."
        for pair in chances.attrs["only_in"].split("; ")
        if pair
    ]
    if not body:
        return wrap(
            " ".join([f"No chance of setting moved by {least:.0%} or more of that way.", *lone]), width
        )
    header = ["anchor", "seabed", "chance", "old (90% band)", "new (90% band)", "move"]
    return [
        "Chances of setting that moved:",
        *plain_table(header, body, width=width),
        *more_rows(len(table) - most),
        *lone,
    ]


def _band(low: float, middle: float, high: float) -> str:
    return f"{format_chance(middle)} ({100 * low:.0f} to {100 * high:.0f})"


def more_rows(hidden: int) -> list[str]:
    """Return a line that counts the rows left out, if any were."""
    return [f"… and {hidden} more with --all"] if hidden > 0 else []

"""Sizes on one screen: a row for each mass that was pulled or asked for, a column for each seabed."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.plain_numbers import significant
from holdcast.show.text.numbers import format_load, format_share, load_unit, on_screen
from holdcast.show.text.plain_table import tables_side_by_side
from holdcast.show.text.text_columns import plain
from holdcast.show.views.sizes import mass_text

__all__ = ["equal_short_lines", "load_short_lines", "size_short_lines", "sizes_of_load_table"]

_MOST_ROWS = 12
_SAME = 0.02
"""Masses as near as this, as a share, are one on the screen."""


def size_short_lines(table: pd.DataFrame, units: str, *, own_masses: bool) -> list[str]:
    """Return the capacity and its 90% band of each shape at the masses pulled, or at those asked for.

    Parameters
    ----------
    table : DataFrame
        As from ``sizes_table``.
    units : {"si", "us"}
    own_masses : bool
        Whether the masses of the table were asked for; else they are a grid, of which the ones nearest to the
        tested masses are shown: the smallest and the largest, or the largest alone where that would be long.
    """
    rows = table if own_masses else _near_tested(table)
    unit = on_screen("kg", units)[0]
    seabeds = list(dict.fromkeys(rows["seabed"]))
    lines = []
    for (shape, _), group in rows.groupby(["shape", "mass_kg"], sort=False):
        by_seabed = group.set_index("seabed")
        mass = float(group["mass_kg"].iloc[0])
        cells = [_cell(by_seabed.loc[seabed], units) for seabed in seabeds]
        lines.append((str(shape), mass_text(mass, units), *cells))
    title = f"Capacity in {load_unit(units)}, median and 90% band, by mass in {unit} and seabed:"
    hidden = max(len(lines) - _MOST_ROWS, 0)
    more = [f"… and {hidden} rows more in sizes.csv"] if hidden else []
    return [title, *tables_side_by_side(("shape", unit, *seabeds), lines[:_MOST_ROWS], first=2), *more]


def _near_tested(table: pd.DataFrame) -> pd.DataFrame:
    """Return the rows nearest to the smallest and the largest tested mass of each shape."""
    by_shape = [rows for _, rows in table.groupby("shape", sort=False)]
    parts = []
    for rows in by_shape:
        ends = ["times_largest"] if len(by_shape) > _MOST_ROWS // 2 else ["times_smallest", "times_largest"]
        distances = [np.abs(np.log(rows[name])) for name in ends]
        masses = {float(rows["mass_kg"].loc[distance.idxmin()]) for distance in distances}
        parts.append(rows[rows["mass_kg"].isin(masses)])
    return pd.concat(parts)


def _cell(row: pd.Series, units: str) -> str:
    low, middle, high = (format_load(row[f"capacity_n_{name}"], units) for name in ("q05", "q50", "q95"))
    # The grid's mass nearest to a tested one is seldom that very mass.
    near = row["times_smallest"] >= 1.0 - _SAME and row["times_largest"] <= 1.0 + _SAME
    star = "" if row["evidence"] == "tested" and (row["range"] == "inside" or near) else "*"
    return f"{middle}{star} {low}-{high}"


def load_short_lines(answer: xr.Dataset, units: str) -> list[str]:
    """Return the mass with which one new pull holds the load, a row a shape, at the highest chance asked for.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.sizes.sizes.mass_for_load``.
    units : {"si", "us"}
    """
    surest = answer.sel(chance=answer["chance"].max())
    rows = []
    for shape in answer["shape"].to_numpy():
        cells = surest.sel(shape=shape)
        texts = [
            mass_text(float(mass), units)
            + (f" {significant(float(times), 2)}x*" if 1.0 < times < np.inf else "")
            for mass, times in zip(cells["mass_new_pull_kg"], cells["times_largest_new_pull"], strict=True)
        ]
        rows.append((str(shape), *texts))
    chance, load = format_share(float(surest["chance"])), format_load(answer.attrs["load_n"], units)
    seabeds = [plain(seabed) for seabed in answer["seabed"].to_numpy()]
    return [
        f"Mass in {on_screen('kg', units)[0]} with which one new pull holds {load} {load_unit(units)}, "
        f"chance {chance}:",
        *tables_side_by_side(("shape", *seabeds), rows, first=1),
        "2x*: twice the largest tested mass of the shape, extrapolated.",
    ]


def equal_short_lines(answer: xr.Dataset, units: str) -> list[str]:
    """Return what mass of other designs equals one design at a mass: median and 90% band.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.sizes.sizes.equal_mass``.
    units : {"si", "us"}
    """
    rows = []
    for shape in answer["shape"].to_numpy():
        cells = []
        for seabed in answer["seabed"].to_numpy():
            cell = answer.sel(shape=shape, seabed=seabed)
            low, middle, high = (
                mass_text(float(cell["mass_kg"].sel(quantile=q)), units) for q in (0.05, 0.5, 0.95)
            )
            star = "*" if float(cell["times_largest"].sel(quantile=0.5)) > 1.0 else ""
            cells.append(f"{middle}{star} {low}-{high}")
        rows.append((str(shape), *cells))
    unit = on_screen("kg", units)[0]
    reference = (
        f"{mass_text(float(answer.attrs['reference_mass_kg']), units)} {unit} of {answer.attrs['design']}"
    )
    seabeds = [plain(seabed) for seabed in answer["seabed"].to_numpy()]
    return [
        f"Mass in {unit} with the capacity of {reference}, median and 90% band:",
        *tables_side_by_side(("design", *seabeds), rows, first=1),
    ]


def sizes_of_load_table(answer: xr.Dataset) -> pd.DataFrame:
    """Return the masses that hold a load, one row a shape, seabed and chance, in kg."""
    names = ["mass_new_pull_kg", "times_largest_new_pull"]
    table = answer[names].reset_coords(drop=True).to_dataframe(dim_order=["shape", "seabed", "chance"])
    return table.reset_index().assign(load_n=float(answer.attrs["load_n"]))

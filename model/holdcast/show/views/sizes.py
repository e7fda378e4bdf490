"""Sizes as rows and sentences: capacity against mass, the exponent, the mass that holds a load."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.plain_numbers import significant
from holdcast.show.text.numbers import format_load, format_share, load_unit, on_screen
from holdcast.show.text.plain_table import TableRow, each_row, plain_table

__all__ = [
    "equal_lines",
    "load_lines",
    "mass_text",
    "size_lines",
    "size_sentences",
    "sizes_table",
]


def mass_text(mass_kg: float, units: str) -> str:
    """Return a mass without its unit, three significant digits; "none" when no mass searched is enough."""
    if not np.isfinite(mass_kg):
        return "none"
    value = float(f"{mass_kg / on_screen('kg', units)[1]:.3g}")
    return f"{value:.0f}" if value >= 100 else f"{value:.1f}"


def sizes_table(answer: xr.Dataset) -> pd.DataFrame:
    """Return one row a shape, seabed and mass: the columns of sizes.csv, in SI units.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.sizes.sizes.sizes``.
    """
    columns: dict[str, xr.DataArray] = {}
    for name, short in (("capacity_n", "capacity_n"), ("exponent", "exponent")):
        for quantile in answer["quantile"].to_numpy():
            at_quantile = answer[name].sel(quantile=quantile, drop=True)
            columns[f"{short}_q{round(100 * float(quantile)):02d}"] = at_quantile
    columns |= {name: answer[name] for name in ("times_largest", "times_smallest", "range")}
    columns["evidence"] = answer["tested"].copy(data=np.where(answer["tested"], "tested", "untested"))
    flat = xr.Dataset(columns).drop_vars("soil", errors="ignore")
    return flat.to_dataframe(dim_order=["shape", "seabed", "mass_kg"]).reset_index()


def size_lines(table: pd.DataFrame, units: str) -> list[str]:
    """Return capacity and its band at the smallest, a middle and the largest mass of each shape."""
    unit = on_screen("kg", units)[0]
    rows = []
    for (shape, seabed), group in table.groupby(["shape", "seabed"], sort=False):
        for place in sorted({0, len(group) // 2, len(group) - 1}):
            row = group.iloc[place]
            rows.append(
                (
                    str(shape),
                    str(seabed),
                    mass_text(row["mass_kg"], units),
                    *(format_load(row[f"capacity_n_{name}"], units) for name in ("q05", "q50", "q95")),
                    f"{row['exponent_q50']:.2f} ({row['exponent_q05']:.2f} to {row['exponent_q95']:.2f})",
                    _far(row),
                )
            )
    header = (
        "shape",
        "seabed",
        unit,
        f"5% {load_unit(units)}",
        "50%",
        "95%",
        "exponent (90%)",
        "tested masses",
    )
    return plain_table(header, rows, numbers=(2, 3, 4, 5))


def _far(row: pd.Series) -> str:
    beyond = ""
    if row["times_largest"] > 1.0 + 1e-9:
        beyond = f"{_times(row['times_largest'])} times the largest *"
    elif row["times_smallest"] < 1.0 - 1e-9:
        beyond = f"{_times(row['times_smallest'])} times the smallest *"
    if row["evidence"] == "tested":
        return beyond or "inside"
    return f"{beyond}, none here" if beyond else "none here"


def _times(factor: float) -> str:
    """Return a factor with two digits; with three near 1, which would else read as no factor at all."""
    return significant(factor, 3 if 0.9 < factor < 1.1 else 2)


def size_sentences(table: pd.DataFrame, units: str = "si") -> list[str]:
    """Return what the exponents say, and what the star means.

    Parameters
    ----------
    table : DataFrame
        As from :func:`sizes_table`.
    units : {"si", "us"}
    """
    ends = [table["exponent_q50"].idxmin(), table["exponent_q50"].idxmax()]
    low, high = (_exponent_text(next(each_row(table.loc[[end]])), units) for end in ends)
    spread = f"The lowest exponent is {low}. The highest is {high}." if low != high else f"It is {low}."
    sentences = [f"Capacity grows with mass to a power, the exponent. {spread}"]
    if table["exponent_q50"].max() > 1.0:
        sentences.append("Above 1, a small anchor cannot break in there.")
    sentences.append("The shape stays the same at every mass, and so does the tip's share of it.")
    if (table["range"] == "outside").any() or (table["evidence"] == "untested").any():
        sentences.append(
            "*: outside the tested masses, or no size of the shape was pulled there: extrapolated, with a "
            "wider band."
        )
    return [" ".join(sentences)]


def _exponent_text(row: TableRow, units: str) -> str:
    return (
        f"{row.exponent_q50:.2f} (90% band {row.exponent_q05:.2f} to {row.exponent_q95:.2f}), for "
        f"{row.shape} in {row.seabed} at {mass_text(row.mass_kg, units)} {on_screen('kg', units)[0]}"
    )


def load_lines(answer: xr.Dataset, units: str) -> list[str]:
    """Return the mass with which one new pull holds the load, by chance.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.sizes.sizes.mass_for_load``.
    units : {"si", "us"}
    """
    rows = []
    for shape in answer["shape"].to_numpy():
        for seabed in answer["seabed"].to_numpy():
            cell = answer.sel(shape=shape, seabed=seabed)
            texts = [
                mass_text(float(mass), units)
                + (f" (x{significant(float(times), 2)})" if 1.0 < times < np.inf else "")
                for mass, times in zip(cell["mass_new_pull_kg"], cell["times_largest_new_pull"], strict=True)
            ]
            rows.append((str(shape), str(seabed), *texts))
    chances = [format_share(float(chance)) for chance in answer["chance"]]
    load = format_load(answer.attrs["load_n"], units)
    title = f"Mass in {on_screen('kg', units)[0]} with which one new pull holds {load}"
    return [
        f"{title} {load_unit(units)}, by chance of holding:",
        *plain_table(("shape", "seabed", *chances), rows),
        "(x2): twice the largest tested mass of that shape. none: no mass up to 100 times the largest tested "
        "is enough.",
    ]


def equal_lines(answer: xr.Dataset, units: str) -> list[str]:
    """Return what mass of other designs equals one design at a mass, with its band.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.sizes.sizes.equal_mass``.
    units : {"si", "us"}
    """
    rows = []
    for shape in answer["shape"].to_numpy():
        for seabed in answer["seabed"].to_numpy():
            cell = answer.sel(shape=shape, seabed=seabed)
            masses = [mass_text(float(cell["mass_kg"].sel(quantile=q)), units) for q in (0.05, 0.5, 0.95)]
            times = float(cell["times_largest"].sel(quantile=0.5))
            far = f"{significant(times, 2)} times the largest tested *" if times > 1.0 else ""
            rows.append((str(shape), str(seabed), *masses, far))
    unit = on_screen("kg", units)[0]
    size = f"{mass_text(float(answer.attrs['reference_mass_kg']), units)} {unit} of {answer.attrs['design']}"
    return [
        f"Mass in {unit} with the capacity of {size}, 90% band:",
        *plain_table(("design", "seabed", "5%", "50%", "95%", ""), rows, numbers=(2, 3, 4)),
    ]

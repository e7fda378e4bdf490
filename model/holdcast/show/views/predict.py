"""Predictions as rows of a table, as sentences and as a picture, always with their bands."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.figures.sheet import Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.numbers import format_chance, format_load, load_unit, to_screen_load
from holdcast.show.text.plain_table import plain_table
from holdcast.show.text.sentences import provenance_sentence

__all__ = [
    "prediction_lines",
    "prediction_sentences",
    "prediction_sheet",
    "prediction_table",
    "setting_lines",
]

_BANDS = {
    "capacity_n": ("q05", "q25", "q50", "q75", "q95"),
    "efficiency": ("q05", "q25", "q50", "q75", "q95"),
    "new_pull_n": ("q05", "q50", "q95"),
}
_SHARE_QUANTILES = ("q05", "q50", "q95")
_SHARE_HEADINGS = {"sets": "sets", "resets": "sets again", "veer_kept": "kept in a turn"}
_WORDS = ("range", "basis", "outside", "assumed")
_MOST_SENTENCES = 3


def prediction_table(answer: xr.Dataset) -> pd.DataFrame:
    """Return one row a request: the columns of the CSV, in SI units.

    Parameters
    ----------
    answer : Dataset, dims (request, quantile)
        As from ``holdcast.answers.predict.predict``.
    """
    columns: dict[str, xr.DataArray] = {name: answer[name] for name in ("anchor", "seabed", "mass_kg")}
    # Columns of tests that the log does not hold stand there blank, as in cells.csv.
    blank = answer["mass_kg"] * np.nan
    for name, quantiles in {**_BANDS, **dict.fromkeys(_SHARE_HEADINGS, _SHARE_QUANTILES)}.items():
        for quantile in quantiles:
            at = {"quantile": float(quantile[1:]) / 100}
            columns[f"{name}_{quantile}"] = (
                answer[name].sel(at, method="nearest", tolerance=1e-9) if name in answer else blank
            )
    columns |= {name: answer[name] for name in _WORDS}
    data = {name: array.to_numpy() for name, array in columns.items()}
    return pd.DataFrame({"request": answer["request"].to_numpy(), **data})


def prediction_lines(table: pd.DataFrame, units: str) -> list[str]:
    """Return the loads as lines of text: median, 90% band, what 19 of 20 new pulls reach, the basis.

    Parameters
    ----------
    table : DataFrame
        As from :func:`prediction_table`.
    units : {"si", "us"}
    """
    unit = load_unit(units)
    header = ("request", "anchor", "seabed", f"5% {unit}", "50%", "95%", "new pull 5%", "basis")
    loads = ("capacity_n_q05", "capacity_n_q50", "capacity_n_q95", "new_pull_n_q05")
    rows = [
        (
            row["request"],
            row["anchor"],
            row["seabed"],
            *(format_load(row[name], units) for name in loads),
            row["basis"] + (" *" if row["range"] == "outside" else ""),
        )
        for _, row in table.iterrows()
    ]
    return plain_table(header, rows, numbers=(3, 4, 5, 6))


def setting_lines(table: pd.DataFrame) -> list[str]:
    """Return the chances of setting of each request, median and 90% band, as lines of text.

    Parameters
    ----------
    table : DataFrame
        As from :func:`prediction_table`.
    """
    shares = [name for name in _SHARE_HEADINGS if table[f"{name}_q50"].notna().any()]
    header = ("request", "anchor", "seabed", *(_SHARE_HEADINGS[name] for name in shares))
    rows = [
        (row["request"], row["anchor"], row["seabed"], *(_share_text(row, name) for name in shares))
        for _, row in table.iterrows()
    ]
    return plain_table(header, rows)


def _share_text(row: pd.Series, name: str) -> str:
    low, middle, high = (row[f"{name}_{quantile}"] for quantile in _SHARE_QUANTILES)
    return f"{format_chance(middle)} ({100 * low:.0f} to {100 * high:.0f})"


def prediction_sentences(table: pd.DataFrame, units: str) -> list[str]:
    """Return the first answers in words, then every extrapolation and assumption.

    Parameters
    ----------
    table, units
        As in :func:`prediction_lines`.
    """
    unit = load_unit(units)
    sentences = []
    for _, row in table.head(_MOST_SENTENCES).iterrows():
        low, middle, high, pull = (
            format_load(row[name], units)
            for name in ("capacity_n_q05", "capacity_n_q50", "capacity_n_q95", "new_pull_n_q05")
        )
        sentences.append(
            f"Request {row['request']} ({row['basis']}): capacity {middle} {unit}, 90% band {low} to "
            f"{high} {unit}; 19 of 20 new pulls reach {pull} {unit}, counting those that do not set."
        )
    for word, begin in (("outside", "* Extrapolated"), ("assumed", "Assumed")):
        for text, group in table[table[word] != ""].groupby(word, sort=False):
            sentences.append(f"{begin} in {_listed(group['request'].tolist())}: {text}.")
    if len(table):
        sentences.append(_setting_sentence(table))
    return sentences


def _setting_sentence(table: pd.DataFrame) -> str:
    """Say what the shares are, and which kinds of test the log lacks."""
    missing = {"resets": "resets", "veer_kept": "veers"}
    lacking = [test for name, test in missing.items() if table[f"{name}_q50"].isna().all()]
    lack = f" The log holds no {' and no '.join(lacking)}." if lacking else ""
    return (
        "Sets: chance that the anchor of a new pull digs in. Sets again: after a reversal of 180°. Kept in a "
        f"turn: share of capacity left after 180° under load. Median, and 90% band in percent.{lack}"
    )


def _listed(names: Sequence[str]) -> str:
    few = ", ".join(map(str, names[:8]))
    return f"request{'s' if len(names) > 1 else ''} {few}" + (
        f" and {len(names) - 8} more" if len(names) > 8 else ""
    )


def prediction_sheet(answer: xr.Dataset, table: pd.DataFrame, units: str, *, reliable: bool = True) -> Sheet:
    """Return the picture: for each request the capacity's bands above the 90% band of one new pull.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.predict.predict``; its attributes say where it comes from.
    table : DataFrame
        As from :func:`prediction_table`.
    units : {"si", "us"}
    reliable : bool
        The verdict's ``ok``.
    """
    low = to_screen_load(min(table["capacity_n_q05"].min(), table["new_pull_n_q05"].min()), units) / 1.15
    high = to_screen_load(max(table["capacity_n_q95"].max(), table["new_pull_n_q95"].max()), units) * 1.15
    marks, notes = [], []
    for _, row in table.iterrows():
        at = {str(name): to_screen_load(row[name], units) for name in row.index if "_n_q" in str(name)}
        tested = row["basis"] == "tested cell"
        low5, lower, middle, upper, high95 = (at[f"capacity_n_{name}"] for name in _BANDS["capacity_n"])
        pull = [at[f"new_pull_n_{name}"] for name in _BANDS["new_pull_n"]]
        marks.append(
            (
                Mark(low5, high95, middle, lower, upper, filled=tested),
                Mark(pull[0], pull[2], pull[1], filled=tested),
            )
        )
        notes.append(row["basis"] + (" *" if row["range"] == "outside" else ""))
    names = [f"{row['request']}: {row['anchor']} in {row['seabed']}" for _, row in table.iterrows()]
    return Sheet(
        title="Capacity and one new pull, as asked",
        reading=(
            f"Load at the anchor in {load_unit(units)}, logarithmic scale. Upper mark in a row: capacity "
            "(dot median, bar 50% band, line 90% band); lower: one new pull (dot median, line 90% band); "
            "dashed and hollow: not a tested cell. *: outside what was tested, an extrapolation.",
        ),
        headings=["requests"] * len(table),
        names=names,
        panels=[Panel("", marks, notes)],
        limits=(low, high),
        logarithmic=True,
        note_heading="basis",
        foot=(" ".join(CAUTIONS), provenance_sentence(answer.attrs)),
        reliable=reliable,
        note_width=1.6,
        most_columns=1,
    )

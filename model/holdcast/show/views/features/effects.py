"""Effects of features and measurements as rows, sentences and a picture."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.figures.sheet import Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.cell_rows import words
from holdcast.show.text.numbers import format_chance
from holdcast.show.text.plain_table import TableRow, each_row, factor_text, learnt_text, plain_table
from holdcast.show.text.sentences import provenance_sentence

__all__ = [
    "HOW_TO_READ_EFFECTS",
    "basis_text",
    "effect_lines",
    "effect_rows",
    "effect_sentences",
    "effects_sheet",
    "pair_rows",
    "together_sentences",
]

HOW_TO_READ_EFFECTS = (
    "Factor on capacity: 1.10 is 10% more. Net: the feature itself, with mass, area and tip load as they "
    "are. Total: one "
    "configuration against the other of the same design, with all that the part changes.",
    "Gain: probability of a factor above 1. >10%: probability of a change larger than 10%, up or down. "
    "Learnt: share of the "
    "prior's variance that the data took away (0% nothing learnt: the band is the prior's); moved: how far "
    "the mean went from "
    "the prior's, in its standard deviations.",
)
_QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
_COLUMNS = [
    "kind",
    "effect",
    "seabed",
    *(f"factor_q{round(100 * quantile):02d}" for quantile in _QUANTILES),
    "p_gain",
    "p_change_over_10pct",
    "pairs",
    "pairs_tested",
    "basis",
    "contraction",
    "prior_shift",
]


def basis_text(pairs: int, seabeds: int, anchors_with: int, anchors: int) -> str:
    """Say how an effect is known.

    Parameters
    ----------
    pairs, seabeds : int
        Paired configurations, and seabeds in which both of some pair were pulled.
    anchors_with, anchors : int
        Anchors that have the feature, and all anchors.
    """
    if anchors_with == anchors:
        return "every anchor has it, so it cannot be told from the ground"
    if not pairs:
        return "between designs only"
    noun = "paired configurations" if pairs > 1 else "paired configuration"
    if not seabeds:
        return f"{pairs} {noun} of one design, never both tested in one seabed"
    return f"{pairs} {noun} of one design, both tested in {seabeds} {'seabeds' if seabeds > 1 else 'seabed'}"


def effect_rows(effects: xr.Dataset, kind: str) -> pd.DataFrame:
    """Return one row for each effect and seabed, in the campaign's order.

    Parameters
    ----------
    effects : Dataset
        From ``feature_effects`` or ``measurement_effects``.
    kind : {"net", "measurement"}

    Returns
    -------
    DataFrame
        Columns ``kind, effect, seabed, factor_q05 … _q95, p_gain, p_change_over_10pct, pairs, pairs_tested,
        basis, contraction, prior_shift``.
    """
    table = _with_bands(effects, "effect", "factor", ("p_gain", "p_large", "contraction", "shift"))
    table = table.assign(
        kind=kind, pairs=np.nan, pairs_tested=np.nan, basis="the model's term and all anchors"
    )
    if kind == "net":
        counts = effects[["pairs", "seabeds_paired", "anchors_with"]].to_dataframe()
        basis = {
            name: basis_text(row.pairs, row.seabeds_paired, row.anchors_with, effects.attrs["anchors"])
            for name, row in zip(counts.index, each_row(counts), strict=True)
        }
        tested = effects["pairs_tested"].transpose("effect", "seabed").to_numpy().ravel()
        table = table.assign(
            pairs=table["effect"].map(counts["pairs"]), pairs_tested=tested, basis=table["effect"].map(basis)
        )
    return table.rename(columns={"p_large": "p_change_over_10pct", "shift": "prior_shift"})[_COLUMNS]


def pair_rows(contrasts: xr.Dataset) -> pd.DataFrame:
    """Return one row for each pair and seabed: the total difference, with against without."""
    table = _with_bands(contrasts, "pair", "total", ("p_gain", "p_large", "both_tested"))
    both = table["both_tested"].astype(bool)
    feature = dict(zip(contrasts["pair"].to_numpy(), contrasts["feature"].to_numpy(), strict=True))
    basis = np.where(both, "both tested here", "not both tested here")
    effect = [f"{feature[pair]}: {pair}" for pair in table["pair"]]
    table = table.assign(kind="total", effect=effect, basis=basis, pairs=1, pairs_tested=both.astype(int))
    table = table.assign(contraction=np.nan, prior_shift=np.nan)
    return table.rename(columns={"p_large": "p_change_over_10pct"})[_COLUMNS]


def _with_bands(answer: xr.Dataset, dim: str, factor: str, plain: Sequence[str]) -> pd.DataFrame:
    columns = {name: answer[name] for name in plain}
    for quantile in _QUANTILES:
        value = answer[factor].sel(quantile=quantile, method="nearest", tolerance=1e-9, drop=True)
        columns[f"factor_q{round(100 * quantile):02d}"] = value
    return xr.Dataset(columns).to_dataframe(dim_order=[dim, "seabed"]).reset_index()


def effect_lines(rows: pd.DataFrame, *, width: int | None = None) -> list[str]:
    """Return one small table for each effect: a line a seabed, or one when all share the effect."""
    lines: list[str] = []
    for effect, part in rows.groupby("effect", sort=False):
        kind = str(part["kind"].iloc[0])
        if kind == "measurement" and len(set(part["factor_q50"])) == 1:
            part = part.iloc[:1].assign(seabed="all seabeds alike")
        header, cells = _TABLES[kind]
        lines += ["", _HEADINGS[kind].format(effect=words(str(effect)), basis=part["basis"].iloc[0])]
        body = [[row.seabed, *_factor_cells(row), *cells(row)] for row in each_row(part)]
        lines += plain_table(
            ["seabed", "factor", "50% band", "90% band", *header], body, numbers=(1,), width=width
        )
    return lines


def _factor_cells(row: TableRow) -> list[str]:
    return [
        factor_text(row.factor_q50),
        f"{factor_text(row.factor_q25)} to {factor_text(row.factor_q75)}",
        f"{factor_text(row.factor_q05)} to {factor_text(row.factor_q95)}",
    ]


def _net_cells(row: TableRow) -> list[str]:
    tested = f"{row.pairs_tested:.0f} of {row.pairs:.0f}" if row.pairs else "none"
    return [format_chance(row.p_gain), format_chance(row.p_change_over_10pct), tested, *_learnt_cells(row)]


def _total_cells(row: TableRow) -> list[str]:
    return [
        format_chance(row.p_gain),
        format_chance(row.p_change_over_10pct),
        "both" if row.pairs_tested else "not both",
    ]


def _measurement_cells(row: TableRow) -> list[str]:
    return [format_chance(row.p_change_over_10pct), *_learnt_cells(row)]


def _learnt_cells(row: TableRow) -> list[str]:
    return [learnt_text(row.contraction), f"{row.prior_shift:+z.1f}"]


_HEADINGS = {
    "net": "{effect}, net ({basis})",
    "total": "{effect}, total",
    "measurement": "{effect} at the typical anchor (by the model's term, from all anchors; mass as it is)",
}
_TABLES = {
    "net": (["gain", ">10%", "pairs", "learnt", "moved"], _net_cells),
    "total": (["gain", ">10%", "tested"], _total_cells),
    "measurement": ([">10%", "learnt", "moved"], _measurement_cells),
}


def effect_sentences(rows: pd.DataFrame) -> list[str]:
    """Say of each net effect in how many seabeds it surely gains or loses, and how that is known."""
    sentences = []
    for effect, part in rows[rows["kind"] == "net"].groupby("effect", sort=False):
        gains = part.loc[part["p_gain"] >= 0.95, "seabed"].tolist()
        loses = part.loc[part["p_gain"] <= 0.05, "seabed"].tolist()
        sure = [
            f"{verb} in {', '.join(map(str, seabeds))}"
            for verb, seabeds in (("a gain (95% sure)", gains), ("a loss (95% sure)", loses))
            if seabeds
        ]
        low, high = factor_text(part["factor_q50"].min()), factor_text(part["factor_q50"].max())
        where = "; ".join(sure) or "neither a gain nor a loss is 95% sure in any seabed"
        sentences.append(
            f"{words(str(effect))}: medians from {low} to {high}; {where}. Known from: "
            f"{part['basis'].iloc[0]}."
        )
    return sentences


def together_sentences(together: xr.Dataset) -> list[str]:
    """Warn of features that nearly always go together, or apart, with their correlation in the posterior."""
    names = [str(name) for name in together["feature"].to_numpy()]
    sentences = []
    for place, first in enumerate(names):
        for second in names[place + 1 :]:
            pair = together.sel(feature=first, other=second)
            if bool(pair["cannot_tell"]):
                over, joint = float(pair["over_anchors"]), float(pair["in_posterior"])
                verb = "nearly always go together" if over > 0 else "nearly always exclude each other"
                sentences.append(
                    f"{words(first)} and {words(second)} {verb} (correlation {over:+z.2f} over the anchors), "
                    "so their "
                    f"effects cannot be told apart; their draws correlate by {joint:+z.2f}."
                )
    return sentences


def effects_sheet(rows: pd.DataFrame, attributes: Mapping[Any, Any], *, reliable: bool) -> Sheet:
    """Return the picture: one panel a seabed, one row an effect, a line for each 90% band.

    Parameters
    ----------
    rows : DataFrame
        From :func:`effect_rows` and :func:`pair_rows`, below each other.
    attributes : mapping
        The tree's root attributes, for the foot.
    reliable : bool
        The verdict's ``ok``.
    """
    panels = [_panel(str(seabed), part) for seabed, part in rows.groupby("seabed", sort=False)]
    first = rows[rows["seabed"] == rows["seabed"].iloc[0]]
    low, high = float(rows["factor_q05"].min()) / 1.05, float(rows["factor_q95"].max()) * 1.05
    return Sheet(
        title="What a feature does to capacity",
        reading=(
            "Factor on capacity, logarithmic scale; 1 is no change. Dot: median; bar: 50% band; line: 90% "
            "band. "
            "On the right: probability of a gain.",
            "Hollow and dashed: no pair of configurations of one design was both tested in that seabed.",
        ),
        headings=[_GROUPS[kind] for kind in first["kind"]],
        names=[words(str(effect)) for effect in first["effect"]],
        panels=panels,
        ticks=[tick for tick in _TICKS if low <= tick <= high],
        limits=(low, high),
        logarithmic=True,
        note_heading="gain",
        foot=(" ".join(CAUTIONS), provenance_sentence(attributes)),
        reference=1.0,
        reliable=reliable,
        note_width=0.45,
        most_columns=3,
    )


_GROUPS = {"net": "a feature, net", "total": "with against without, total", "measurement": "a measurement"}
_TICKS = (0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 5.0, 10.0)


def _panel(seabed: str, part: pd.DataFrame) -> Panel:
    marks, notes = [], []
    for row in each_row(part):
        bar = (row.factor_q25, row.factor_q75)
        marks.append((Mark(row.factor_q05, row.factor_q95, row.factor_q50, *bar, filled=_filled(row)),))
        # The tip's term allows a gain only and the area's nearly so: the probability would say nothing.
        notes.append("" if row.kind == "measurement" else format_chance(row.p_gain))
    return Panel(seabed, marks, notes)


def _filled(row: TableRow) -> bool:
    return bool(row.kind == "measurement" or row.pairs_tested > 0)

"""What changed between two results, in sentences, tables and a picture."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.figures.sheet import Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.cell_rows import words
from holdcast.show.text.numbers import format_chance, format_load, load_unit, to_screen_load
from holdcast.show.text.plain_table import TableRow, each_row, factor_text, plain_table
from holdcast.show.text.sentences import provenance_sentence
from holdcast.show.text.text_columns import terminal_width, wrap
from holdcast.show.views.compare.chances import chance_lines, more_rows

__all__ = [
    "Compared",
    "cell_sentence",
    "compare_lines",
    "compare_sheet",
    "moved_cells",
    "moved_ranks",
    "trial_words",
]

_MOST_ROWS = 30


class _Most(NamedTuple):
    """How many cells are told in sentences, and how many rows a table has."""

    cells: int
    rows: int


_FEW, _EVERY = _Most(3, 5), _Most(1_000_000, 1_000_000)
Behind = Mapping[tuple[str, str], Mapping[str, Sequence[str]]]


class Compared(NamedTuple):
    """The answers about two fits, as ``holdcast.answers`` gives them."""

    cells: xr.Dataset
    effects: xr.Dataset
    ranks: xr.Dataset
    trials: xr.Dataset
    anchors: xr.Dataset
    seabeds: xr.Dataset
    settings: xr.Dataset
    chances: xr.Dataset


def moved_cells(cells: xr.Dataset, least: float) -> pd.DataFrame:
    """Return the cells whose median moved by at least a share of half the old band, the largest move first.

    Returns
    -------
    DataFrame
        Columns ``anchor, seabed, move, factor, band_ratio, outside, old_q05, old_q50, old_q95, new_q05,
        new_q50, new_q95`` [N].
    """
    columns = {name: cells[name] for name in ("move", "factor", "band_ratio", "outside")}
    for age in ("old", "new"):
        for quantile in (0.05, 0.5, 0.95):
            value = cells[f"{age}_n"].sel(quantile=quantile, method="nearest", tolerance=1e-9, drop=True)
            columns[f"{age}_q{round(100 * quantile):02d}"] = value
    table = xr.Dataset(columns).to_dataframe(dim_order=["anchor", "seabed"]).reset_index()
    table = table[table["move"].abs() >= least]
    return table.iloc[np.argsort(-table["move"].abs().to_numpy(), kind="stable")].reset_index(drop=True)


def moved_ranks(ranks: xr.Dataset) -> pd.DataFrame:
    """Return where the median rank left its old band, or the chance of being best moved by ten points."""
    columns = {name: ranks[name] for name in ("old_p_best", "new_p_best", "outside")}
    for age in ("old", "new"):
        columns[f"{age}_rank"] = ranks[f"{age}_rank"].sel(
            quantile=0.5, method="nearest", tolerance=1e-9, drop=True
        )
    table = xr.Dataset(columns).to_dataframe(dim_order=["anchor", "seabed"]).reset_index()
    jump = (table["new_p_best"] - table["old_p_best"]).abs()
    return table[table["outside"] | (jump >= 0.10)].reset_index(drop=True)


def trial_words(trials: xr.Dataset) -> dict[str, str]:
    """Return each changed trial in words, such as "T238 newly excluded (fouled)"."""
    spoken = {}
    for trial, change, what in zip(
        *(trials[n].to_numpy().tolist() for n in ("trial", "change", "what")), strict=True
    ):
        spoken[trial] = f"{trial} {change}" + (f" ({what})" if what else "")
    return spoken


def cell_sentence(
    row: TableRow, behind: Mapping[str, Sequence[str]], spoken: Mapping[str, str], units: str
) -> str:
    """Say how one cell moved and which trials stand near it.

    Parameters
    ----------
    row : row of :func:`moved_cells`
    behind : mapping
        Trials by nearness, from ``holdcast.answers.compare.log_changes.trials_behind``.
    spoken : mapping
        From :func:`trial_words`.
    units : {"si", "us"}
    """
    verb = "rose" if row.move > 0 else "fell"
    loads = [format_load(load, units) for load in (row.old_q50, row.new_q50)]
    outside = ", outside its old 90% band" if row.outside else ""
    text = (
        f"{row.anchor} in {row.seabed} {verb} from {loads[0]} to {loads[1]} {load_unit(units)} "
        f"(×{factor_text(row.factor)}, "
        f"{abs(row.move):.0%} of the way to its old band's end{outside}; "
        f"the band is ×{factor_text(row.band_ratio)} as wide)."
    )
    places = {
        "cell": "In this cell",
        "design": "Of the same design elsewhere",
        "seabed": "Others in this seabed",
    }
    near = [
        f"{places[key]}: {_few([spoken[trial] for trial in behind[key]])}." for key in places if behind[key]
    ]
    return " ".join(
        [text, *(near or ["No trial of this cell, design or seabed changed: it moved with what all share."])]
    )


def _few(texts: Sequence[str], most: int = 4) -> str:
    more = f" and {len(texts) - most} more" if len(texts) > most else ""
    return ", ".join(texts[:most]) + more


def compare_lines(
    answer: Compared,
    behind: Behind,
    least: float,
    units: str,
    *,
    everything: bool = False,
    width: int | None = None,
) -> list[str]:
    """Return the comparison as wrapped sentences and small tables.

    Parameters
    ----------
    answer : Compared
    behind : mapping
        For each cell that moved, the trials that may have moved it.
    least : float
        Moves below this share of half the old band are not told.
    units : {"si", "us"}
    everything : bool
        False keeps each part to a few rows, the largest moves first.
    """
    room = terminal_width() if width is None else width
    most = _EVERY if everything else _FEW
    spoken, rows = trial_words(answer.trials), moved_cells(answer.cells, least)
    number = answer.cells.sizes["anchor"] * answer.cells.sizes["seabed"]
    moved = f"{len(rows)} of {number} cells" if len(rows) else f"None of {number} cells"
    first = f"{moved} moved by {least:.0%} or more of the way from middle to end of the old 90% band."
    sentences = [
        cell_sentence(row, behind[row.anchor, row.seabed], spoken, units)
        for row in each_row(rows[: most.cells])
    ]
    lines = _wrapped([first, *sentences], room)
    if len(rows) > most.cells:
        lines += _wrapped([f"{len(rows) - most.cells} more moved less than these: --all."], room)
    parts = (
        chance_lines(answer.chances, least, room, most=most.rows),
        _effect_lines(answer.effects, least, room, most=most.rows),
        _rank_lines(answer.ranks, room, most=most.rows),
        _log_lines(answer, room, most=most.rows),
    )
    return [*lines, *(line for part in parts for line in ("", *part))]


def _wrapped(sentences: Sequence[str], width: int) -> list[str]:
    return [line for text in sentences for line in wrap(text, width)]


def _effect_lines(effects: xr.Dataset, least: float, width: int, *, most: int) -> list[str]:
    moves = effects["move"].to_numpy()
    order = [place for place in np.argsort(-np.abs(moves), kind="stable") if abs(moves[place]) >= least]
    if not order:
        return wrap(f"No effect or parameter moved by {least:.0%} or more of that way.", width)
    body = []
    for place in order[:most]:
        one = effects.isel(parameter=place)
        low, middle, high = (float(one["old"].sel(quantile=q)) for q in (0.05, 0.5, 0.95))
        new = [float(one["new"].sel(quantile=q)) for q in (0.05, 0.5, 0.95)]
        body.append(
            [
                words(str(one["parameter"].item())),
                f"{middle:z.2f} ({low:z.2f} to {high:z.2f})",
                f"{new[1]:z.2f} ({new[0]:z.2f} to {new[2]:z.2f})",
                f"{float(one['move']):+z.0%}",
            ]
        )
    return [
        "Effects and parameters that moved:",
        *plain_table(["", "old (90% band)", "new (90% band)", "move"], body, width=width),
        *more_rows(len(order) - most),
    ]


def _rank_lines(ranks: xr.Dataset, width: int, *, most: int) -> list[str]:
    table = moved_ranks(ranks)
    if table.empty:
        return wrap(
            "No median rank left its old 90% band, and no chance of being best moved by ten points.", width
        )
    body = [
        [
            row.anchor,
            row.seabed,
            f"{row.old_rank:.0f} → {row.new_rank:.0f}",
            f"{format_chance(row.old_p_best)} → {format_chance(row.new_p_best)}",
        ]
        for row in each_row(table[:most])
    ]
    header = ["anchor", "seabed", "median rank", "chance of being best"]
    heading = "Ranks that moved, among the anchors of both results:"
    return [heading, *plain_table(header, body, width=width), *more_rows(len(table) - most)]


def _log_lines(answer: Compared, width: int, *, most: int) -> list[str]:
    spoken = list(trial_words(answer.trials).values())
    kinds = pd.Series(answer.trials["change"].to_numpy(), dtype=str).value_counts(sort=False)
    counted = ", ".join(f"{count} {kind}" for kind, count in kinds.items()) or "none"
    lines = [f"Trials that changed: {counted}."]
    lines += [f"  {text}" for text in spoken[:most]]
    lines += more_rows(len(spoken) - most)
    for noun, table in (("Anchor", answer.anchors), ("Seabed", answer.seabeds)):
        for label, change, what in zip(
            *(table[n].to_numpy().tolist() for n in ("row", "change", "what")), strict=True
        ):
            lines.append(f"{noun} {label} {change}" + (f": {what}" if what else ""))
    named = zip(*(answer.settings[n].to_numpy().tolist() for n in ("setting", "old", "new")), strict=True)
    lines += [f"{setting}: {old[:60]} → {new[:60]}" for setting, old, new in named if setting != "input_hash"]
    if "input_hash" not in answer.settings["setting"].to_numpy():
        lines.append("Both results come from the same input files.")
    return _wrapped(lines, width)


def compare_sheet(
    rows: pd.DataFrame,
    units: str,
    attributes: Mapping[Any, Any],
    *,
    warnings: Sequence[str] = (),
    reliable: bool,
) -> Sheet:
    """Return the picture: the old band above the new one, for the cells that moved most.

    Parameters
    ----------
    rows : DataFrame
        From :func:`moved_cells`, at least one row.
    units : {"si", "us"}
    attributes : mapping
        Of the new fit's tree, for the foot.
    warnings : sequence of str
        What must be said of either side, first of all.
    reliable : bool
        Whether both verdicts are good.
    """
    largest = rows[:_MOST_ROWS]
    marks = []
    for row in each_row(largest):
        old = [to_screen_load(load, units) for load in (row.old_q05, row.old_q50, row.old_q95)]
        new = [to_screen_load(load, units) for load in (row.new_q05, row.new_q50, row.new_q95)]
        marks.append((Mark(old[0], old[2], old[1], filled=False), Mark(new[0], new[2], new[1])))
    low = min(mark.low for pair in marks for mark in pair) / 1.1
    high = max(mark.high for pair in marks for mark in pair) * 1.1
    return Sheet(
        title="What moved between two results",
        reading=(
            *warnings,
            f"Capacity in {load_unit(units)}, logarithmic scale. Dot: median; line: 90% band. Hollow and "
            "dashed above: old; "
            "full below: new.",
            "On the right: new median over old. The largest move against the old band stands first.",
        ),
        headings=[""] * len(largest),
        names=[f"{row.anchor} in {row.seabed}" for row in each_row(largest)],
        panels=[Panel("", marks, [f"×{factor_text(row.factor)}" for row in each_row(largest)])],
        limits=(low, high),
        logarithmic=True,
        note_heading="",
        foot=(" ".join(CAUTIONS), provenance_sentence(attributes)),
        reliable=reliable,
    )

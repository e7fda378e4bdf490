"""Ranks as rows, sentences and a picture; rows by form and name unless one seabed is asked for."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.figures.sheet import TESTED_KEY, Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.cell_rows import name_order, words
from holdcast.show.text.numbers import format_chance
from holdcast.show.text.plain_table import each_row, plain_table, tables_side_by_side
from holdcast.show.text.sentences import provenance_sentence
from holdcast.show.text.text_columns import terminal_width, wrap
from holdcast.show.views.rank_words import RANKS_APART, spoken_of

__all__ = [
    "best_sentence",
    "every_lines",
    "every_rows",
    "overall_lines",
    "rank_cell",
    "ranking_lines",
    "ranking_rows",
    "ranking_sheet",
    "short_ranking_lines",
    "wrong_pairs_sentence",
]

_COULD_BE_BEST = 0.05
_TOO_MANY_GROUPS = "Too many groups for letters: go by the counts of beats and beaten."
_MOST_ROWS, _MOST_NAMED = 12, 5
_COLUMNS = ("p_best", "p_best_three", "surely_beats", "surely_beaten_by", "groups")


def ranking_rows(ranked: xr.Dataset, over: str) -> pd.DataFrame:
    """Return one row for each anchor (and seabed), in order of seabed, form and name.

    Parameters
    ----------
    ranked : Dataset
        From ``holdcast.answers.rank.rank``, with or without dim seabed.
    over : {"seabed", "weighted"}
        What was ranked over; blank seabed when weighted.

    Returns
    -------
    DataFrame
        Columns ``over, seabed, form, anchor, design, measure, evidence, rank_q05, rank_q50, rank_q95,
        p_best, p_best_three, surely_beats, surely_beaten_by, groups``.
    """
    if "seabed" not in ranked.dims:
        ranked = (
            ranked.drop_vars(["pairs_apart", "pairs_wrong"])
            .expand_dims(seabed=[""], axis=1)
            .assign(tested=ranked["p_best"] >= 0)
        )
    plain = ranked.reset_coords(["form", "design"])
    columns = {name: plain[name] for name in ("form", "design", "tested", *_COLUMNS)}
    for quantile in (0.05, 0.5, 0.95):
        rank = plain["rank"].sel(quantile=quantile, method="nearest", tolerance=1e-9, drop=True)
        columns[f"rank_q{round(100 * quantile):02d}"] = rank
    table = xr.Dataset(columns).to_dataframe(dim_order=["seabed", "anchor"]).reset_index()
    evidence = np.where(table["tested"], "tested", "untested") if over == "seabed" else ""
    table = table.assign(over=over, measure=ranked.attrs["measure"], evidence=evidence)
    ordered = [
        "over",
        "seabed",
        "form",
        "anchor",
        "design",
        "measure",
        "evidence",
        "rank_q05",
        "rank_q50",
        "rank_q95",
        *_COLUMNS,
    ]
    return _by_form_and_name(table, [str(name) for name in ranked["seabed"].to_numpy()])[ordered]


def every_rows(answer: xr.Dataset) -> pd.DataFrame:
    """Return one row for each anchor, by form and name, with ``efficiency`` and ``p_every``."""
    table = answer[["p_every"]].reset_coords(["form", "design"]).to_dataframe().reset_index()
    table = table.assign(over="every", seabed="", efficiency=answer.attrs["efficiency"])
    ordered = ["over", "seabed", "form", "anchor", "design", "efficiency", "p_every"]
    return _by_form_and_name(table, [""])[ordered]


def _by_form_and_name(table: pd.DataFrame, seabeds: Sequence[str]) -> pd.DataFrame:
    keys = [
        (seabeds.index(seabed), form, name_order(anchor))
        for seabed, form, anchor in zip(table["seabed"], table["form"], table["anchor"], strict=True)
    ]
    return table.iloc[sorted(range(len(keys)), key=keys.__getitem__)].reset_index(drop=True)


def by_median(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of one seabed by median rank; ties stay by form and name."""
    return rows.sort_values("rank_q50", kind="stable").reset_index(drop=True)


def ranking_lines(rows: pd.DataFrame, where: str, *, width: int | None = None) -> list[str]:
    """Return one seabed's ranks as a table under its heading, with the anchors that may be best.

    Parameters
    ----------
    rows : DataFrame
        Rows of one seabed, or weighted ones, in the order in which they are shown.
    where : str
        The heading.
    """
    body = [
        [
            str(row.anchor) + ("*" if row.evidence == "untested" else ""),
            words(row.form),
            f"{row.rank_q50:.0f}",
            f"{row.rank_q05:.0f} to {row.rank_q95:.0f}",
            format_chance(row.p_best),
            format_chance(row.p_best_three),
            str(row.surely_beats),
            str(row.surely_beaten_by),
            row.groups,
        ]
        for row in each_row(rows)
    ]
    header = ["anchor", "form", "rank", "90% band", "best", "best 3", "beats", "beaten", "groups"]
    lettered = [] if rows["groups"].any() else [_TOO_MANY_GROUPS]
    table = plain_table(header, body, numbers=(2, 4, 5, 6, 7), width=width)
    sentences = [*lettered, best_sentence(rows, where)]
    room = width or terminal_width()
    return [
        "",
        where,
        "-" * min(len(where), room),
        *table,
        *(line for text in sentences for line in wrap(text, room)),
    ]


def overall_lines(rows: pd.DataFrame, where: str, *, width: int | None = None) -> list[str]:
    """Return an overall ranking of the anchors that may be among the best three, the others counted."""
    likely = rows[rows["p_best_three"].round(2) >= _COULD_BE_BEST]
    hidden = len(rows) - len(likely)
    more = [f"{hidden} anchors have less than a chance of 5% of being among the best three."] * (hidden > 0)
    return [*ranking_lines(likely, where, width=width), *more]


def short_ranking_lines(rows: pd.DataFrame, *, width: int | None = None) -> list[str]:
    """Return one table of all seabeds, median rank and band, and which anchors may be best in each.

    Parameters
    ----------
    rows : DataFrame
        Rows of two seabeds or more, as from :func:`ranking_rows`.
    width : int, optional
        Width of a line; by default the terminal's.
    """
    likely = rows.groupby("anchor")["p_best_three"].max()
    order = likely[likely.round(2) >= _COULD_BE_BEST].sort_values(ascending=False, kind="stable").index
    hidden = len(order) - _MOST_ROWS
    anchors = [name for name in dict.fromkeys(rows["anchor"]) if name in set(order[:_MOST_ROWS])]
    by_cell = rows.set_index(["anchor", "seabed"])
    seabeds = list(dict.fromkeys(rows["seabed"]))
    body = [[name, *(rank_cell(by_cell.loc[(name, seabed)]) for seabed in seabeds)] for name in anchors]
    more = [f"… and {hidden} anchors more in ranking.csv"] if hidden > 0 else []
    room = width or terminal_width()
    best = [
        line
        for seabed, part in rows.groupby("seabed", sort=False)
        for line in _may_be_best(part, seabed, room)
    ]
    return [*tables_side_by_side(("anchor", *seabeds), body, first=1, width=width), *more, "", *best]


def rank_cell(row: pd.Series) -> str:
    """Return a median rank and its band; a star where it is predicted."""
    star = "*" if row["evidence"] == "untested" else ""
    return f"{row['rank_q50']:.0f}{star} {row['rank_q05']:.0f}-{row['rank_q95']:.0f}"


def _may_be_best(part: pd.DataFrame, seabed: object, room: int) -> list[str]:
    likely = part[part["p_best"].round(2) >= _COULD_BE_BEST]
    if len(likely) > _MOST_NAMED:
        least, most = (format_chance(end(likely["p_best"])) for end in (min, max))
        return wrap(f"None stands out in {seabed}: {len(likely)} anchors at {least} to {most} each.", room)
    named = ", ".join(f"{row.anchor} {format_chance(row.p_best)}" for row in each_row(likely))
    most = spoken_of(str(part["measure"].iloc[0])).most
    return wrap(f"May {most} in {seabed}: {named or 'none has a chance of 5%'}.", room)


def best_sentence(rows: pd.DataFrame, where: str) -> str:
    """Say which anchors may be best, each with its probability, in the order of the rows."""
    likely = rows[rows["p_best"].round(2) >= _COULD_BE_BEST]  # as the table shows it
    doing = spoken_of(str(rows["measure"].iloc[0])).doing
    if likely.empty:
        return f"{where}: no anchor has a chance of 5% or more of {doing}."
    named = ", ".join(f"{row.anchor} ({format_chance(row.p_best)})" for row in each_row(likely))
    verb = "anchors have" if len(likely) > 1 else "anchor has"
    return f"{where}: {len(likely)} {verb} a chance of 5% or more of {doing}: {named}."


def wrong_pairs_sentence(ranked: xr.Dataset) -> str:
    """Say how many pairs are told apart over all seabeds, and how many of them are expected to be wrong."""
    pairs, wrong = int(ranked["pairs_apart"].sum()), float(ranked["pairs_wrong"].sum())
    if not pairs:
        return "No two anchors are told apart."
    number = (
        "fewer than 0.1" if wrong < 0.05 else f"about {wrong:.1f}" if wrong < 9.95 else f"about {wrong:.0f}"
    )
    return (
        f"Pairs told apart: {pairs}, all seabeds together; {number} of them can be expected to be the wrong "
        "way round."
    )


def every_lines(answer: xr.Dataset, *, width: int | None = None) -> list[str]:
    """Return the probability that every seabed exceeds the efficiency, with what was left out."""
    rows = every_rows(answer)
    heading = f"Efficiency above {answer.attrs['efficiency']:g} in every seabed at once"
    left_out = answer.attrs["left_out"]
    seabeds = f"Seabeds asked: {answer.attrs['seabeds']}. Left out: {left_out or 'none'}."
    likely = rows[rows["p_every"].round(2) >= _COULD_BE_BEST]
    body = [[row.anchor, words(row.form), format_chance(row.p_every)] for row in each_row(likely)]
    hidden = len(rows) - len(likely)
    return [
        "",
        heading,
        "-" * len(heading),
        *wrap(seabeds, width or terminal_width()),
        *plain_table(["anchor", "form", "probability"], body, numbers=(2,), width=width),
        *([f"{hidden} anchors have a chance below 5%."] if hidden else []),
    ]


def ranking_sheet(rows: pd.DataFrame, attributes: Mapping[Any, Any], *, reliable: bool) -> Sheet:
    """Return the picture: a panel for each seabed or the weighted ranking, a line for each band.

    Parameters
    ----------
    rows : DataFrame
        From :func:`ranking_rows`; every panel holds the same anchors in the same order.
    attributes : mapping
        The tree's root attributes, for the foot.
    reliable : bool
        The verdict's ``ok``.
    """
    panels = []
    for (over, seabed), part in rows.groupby(["over", "seabed"], sort=False):
        marks = [
            (Mark(row.rank_q05, row.rank_q95, row.rank_q50, filled=row.evidence != "untested"),)
            for row in each_row(part)
        ]
        notes = [format_chance(share) for share in part["p_best_three"]]
        panels.append(Panel("Weighted" if over == "weighted" else str(seabed), marks, notes))
    first = rows[(rows["over"] == rows["over"].iloc[0]) & (rows["seabed"] == rows["seabed"].iloc[0])]
    number = len(first)
    ticks = sorted({1.0, *np.arange(5.0, number + 1, 5 if number <= 40 else 20)})
    by_rank = len(panels) == 1
    return Sheet(
        title="Rank of each anchor, with its band",
        reading=(
            f"By {spoken_of(str(rows['measure'].iloc[0])).ranked}. Rank 1 is the best. Numbers on the right: "
            "chance of being among the best three.",
            RANKS_APART
            + (
                " Rows stand by median rank." if by_rank else " Rows stand by form, then name, never by rank."
            ),
        ),
        key=(*TESTED_KEY, (None, "dot: median rank; line: 90% band")),
        headings=[""] * number if by_rank else first["form"].tolist(),
        names=first["anchor"].tolist(),
        panels=panels,
        ticks=ticks,
        limits=(0.4, number + 0.6),
        logarithmic=False,
        note_heading="best 3",
        foot=(" ".join(CAUTIONS), provenance_sentence(attributes)),
        reliable=reliable,
        note_width=0.45,
        least_panel=0.7,
    )

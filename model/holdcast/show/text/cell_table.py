"""Every anchor in every seabed as plain text: capacity with its bands, dense and aligned."""

from typing import NamedTuple

import pandas as pd
import xarray as xr

from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.cell_rows import cell_rows, seabed_label, words
from holdcast.show.text.numbers import (
    align_decimals,
    format_chance,
    format_efficiency,
    format_load,
    load_unit,
)
from holdcast.show.text.sentences import EXTRAPOLATED_STAR, ORDER_NOTE, provenance_sentence, verdict_heading
from holdcast.show.text.text_columns import display_width, pad, plain, terminal_width, wrap

__all__ = ["cell_table"]

_TO_THE_LEFT = ("evidence", "sets")
_LEAST_NAME = 14  # a name column narrower than this breaks most names; then the stacked layout reads better


class _Group(NamedTuple):
    """Columns that stand together under one title: their headings, and one text a row for each."""

    title: str
    headings: tuple[str, ...]
    columns: tuple[list[str], ...]


def cell_table(
    cells: xr.Dataset, units: str = "si", *, width: int | None = None, reliable: bool = True
) -> str:
    """Return one block of lines per seabed, and the cautions at the end.

    Parameters
    ----------
    cells : xarray.Dataset
        Dims ``anchor``, ``seabed``, ``quantile``, loads in N, as from ``holdcast.answers.cells.cells``.
    units : {"si", "us"}, default "si"
        kN or lbf.
    width : int, optional
        Width of a line in terminal columns; by default the terminal's. Where the columns do not fit, as on a
        phone, each anchor gets a few lines of its own.
    reliable : bool, default True
        The verdict's ``ok``; when false, the table is marked unreliable above and below.

    Returns
    -------
    str
        Ends without a newline.

    Raises
    ------
    ValueError
        When a capacity comes without its band, the units are unknown, or ``width`` is below 30.
    """
    width = terminal_width() if width is None else width
    if width < 30:
        raise ValueError(f"a cell table needs at least 30 columns, got {width}")
    rows = cell_rows(cells)
    groups = _groups(rows, units)
    parts = [] if reliable else [*wrap(verdict_heading(reliable), width), ""]
    for sentence in (provenance_sentence(cells.attrs), _how_to_read(units, rows)):
        parts += wrap(sentence, width)
    for place in rows.groupby("seabed", sort=False).indices.values():
        block = [
            _Group(*group[:2], tuple([column[i] for i in place] for column in group.columns))
            for group in groups
        ]
        parts += ["", *_seabed_block(rows.iloc[place], block, width)]
    parts += ["", *wrap(ORDER_NOTE, width), *wrap(" ".join(CAUTIONS), width)]
    parts += [] if reliable else ["", *wrap(verdict_heading(reliable), width)]
    return "\n".join(parts)


def _how_to_read(units: str, rows: pd.DataFrame) -> str:
    text = (
        f"Capacity in {load_unit(units)}: the median (50%) of a typical test pull, its 50% band (25% to 75%) "
        "and its 90% band (5% to 95%). Efficiency: capacity over weight. "
        "New pull: 19 of 20 new pulls reach its 5%."
    )
    if (rows["bounded"] == "at least").any():
        text += " +: no pull let go, so read its capacity as at least this much."
    if (rows["bounded"] == "at most").any():
        text += " -: no pull held anything, so read its capacity as at most this much."
    if (rows["range"] == "outside").any():
        text += f" {EXTRAPOLATED_STAR}"
    if rows["sets_q50"].notna().any():
        text += (
            " Sets: chance that the anchor of a new pull digs in, with its 90% band, in percent; capacity is "
            "that of a pull whose anchor set, and the new pull counts the chance that it does not."
        )
    if rows["never_set"].any():
        text += " NEVER SET: no pull of this anchor here ever dug in."
    if rows["above_threshold"].notna().any():
        text += " Above: chance that the efficiency lies above the campaign's threshold."
    return text


def _loads(rows: pd.DataFrame, name: str, units: str) -> list[str]:
    return align_decimals([format_load(load, units) for load in rows[name]])


def _groups(rows: pd.DataFrame, units: str) -> list[_Group]:
    """All columns right of the name; numbers are filled so that they align over the whole table."""
    evidence = [
        word + ("*" if where == "outside" else "") + {"at least": "+", "at most": "-"}.get(sides, "")
        for word, where, sides in zip(rows["evidence"], rows["range"], rows["bounded"], strict=True)
    ]
    pulls = [str(number) if number else "" for number in rows["pulls"]]
    capacity = tuple(
        _loads(rows, f"capacity_n_{name}", units) for name in ("q05", "q25", "q50", "q75", "q95")
    )
    efficiency = tuple(
        align_decimals([format_efficiency(ratio) for ratio in rows[f"efficiency_{name}"]])
        for name in ("q05", "q50", "q95")
    )
    groups = [
        _Group("", ("evidence", "pulls"), (evidence, pulls)),
        _Group(f"capacity, {load_unit(units)}", ("5%", "25%", "50%", "75%", "95%"), capacity),
        _Group("efficiency", ("5%", "50%", "95%"), efficiency),
        _Group("new pull", ("5%",), (_loads(rows, "new_pull_n_q05", units),)),
    ]
    if rows["sets_q50"].notna().any() or rows["never_set"].any():
        groups.append(_Group("", ("sets",), (_setting(rows),)))
    chances = rows["above_threshold"]
    if chances.notna().any():
        texts = ["" if pd.isna(chance) else format_chance(chance) for chance in chances]
        groups.append(_Group("", ("above",), (texts,)))
    return groups


def _setting(rows: pd.DataFrame) -> list[str]:
    """Return the chance that each anchor sets and its 90% band, in percent, and the mark of who never set."""
    texts = []
    for low, middle, high, never in zip(
        *(rows[name] for name in ("sets_q05", "sets_q50", "sets_q95", "never_set")), strict=True
    ):
        band = "" if pd.isna(middle) else f"{format_chance(middle)} {100 * low:.0f}-{100 * high:.0f}"
        texts.append(f"{band} NEVER SET".strip() if never else band)
    return texts


def _seabed_block(rows: pd.DataFrame, groups: list[_Group], width: int) -> list[str]:
    first = rows.iloc[0]
    made_of = seabed_label(plain(first["soil"]), plain(first["strength"]))
    lines = wrap(f"{plain(first['seabed'])}: {made_of}", width)
    lines.append("-" * max(map(display_width, lines)))
    names = [plain(name) for name in rows["anchor"]]
    wanted = max(2, *map(display_width, names)) + 2  # a name of one letter still needs a column to wrap in
    for gap in (2, 1):  # airy where there is room, tight where there is not
        right = [_group_lines(group, gap) for group in groups]
        between = " " * (gap + 1)
        name_width = min(wanted, width - sum(len(between) + display_width(block[0]) for block in right))
        if name_width >= min(wanted, _LEAST_NAME):
            break
    else:
        return lines + _stacked(rows, groups, width)
    joined = [between.join(parts) for parts in zip(*right, strict=True)]
    lines += [f"{'':{name_width}}{between}{heading}".rstrip() for heading in joined[:2]]
    form = ""
    for row_form, name, numbers in zip(rows["form"], names, joined[2:], strict=True):
        if row_form != form:
            form = row_form
            lines.append(plain(words(form)))
        first_line, *more = wrap(name, name_width - 2)
        lines.append(f"  {pad(first_line, name_width - 2)}{between}{numbers}".rstrip())
        lines += [f"  {line}" for line in more]
    return lines


def _group_lines(group: _Group, gap: int) -> list[str]:
    """One group as lines of equal width: its title, its headings, its rows."""
    columns = [[heading, *texts] for heading, texts in zip(group.headings, group.columns, strict=True)]
    widths = [max(map(display_width, column)) for column in columns]
    lines = [
        (" " * gap).join(
            pad(cell, width, right=heading not in _TO_THE_LEFT)
            for cell, width, heading in zip(row, widths, group.headings, strict=True)
        )
        for row in zip(*columns, strict=True)
    ]
    across = max(display_width(group.title), *map(display_width, lines))
    return [group.title.center(across), *(pad(line, across, right=True) for line in lines)]


def _stacked(rows: pd.DataFrame, groups: list[_Group], width: int) -> list[str]:
    """Write a few lines an anchor, for a screen too narrow for columns."""
    lines: list[str] = []
    form = ""
    unit = groups[1].title.removeprefix("capacity, ")
    for place, (row_form, name) in enumerate(zip(rows["form"], rows["anchor"], strict=True)):
        if row_form != form:
            form = row_form
            lines += wrap(plain(words(form)), width)
        evidence, capacity, efficiency, new_pull, *above = (
            [column[place].strip() for column in group.columns] for group in groups
        )
        pulls = f", {evidence[1]} {'pull' if evidence[1] == '1' else 'pulls'}" if evidence[1] else ""
        low, lower, median, upper, high = capacity
        lines += [f"  {line}" for line in wrap(f"{plain(name)}: {evidence[0]}{pulls}", width - 2)]
        beside = {
            group.headings[0]: text[0] for group, text in zip(groups[4:], above, strict=True) if text[0]
        }
        chance = "".join(f"; {heading} {text}" for heading, text in beside.items())
        for text in (
            f"{median} {unit} (90% {low} to {high})",
            f"50% {lower} to {upper}; new pull 5% {new_pull[0]}",
            f"efficiency {efficiency[1]} (90% {efficiency[0]} to {efficiency[2]}){chance}",
        ):
            lines += [f"    {line}" for line in wrap(text, width - 4)]
    return lines

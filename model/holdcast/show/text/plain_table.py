"""Any small table as aligned text: wraps inside its columns, numbers set to the right."""

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import pandas as pd

from holdcast.plain_numbers import significant
from holdcast.show.text.numbers import align_decimals
from holdcast.show.text.text_columns import (
    column_widths,
    display_width,
    plain,
    rows_of_cells,
    terminal_width,
    wrap,
)

__all__ = [
    "TableRow",
    "TextTable",
    "each_row",
    "factor_text",
    "learnt_text",
    "plain_table",
    "tables_side_by_side",
]


type TableRow = Any
"""A row of a table with its columns as attributes; their types are the table's."""


class TextTable(NamedTuple):
    """A table as text: what it is about, its headings, its rows."""

    title: str
    header: Sequence[str]
    rows: Sequence[Sequence[str]]


def plain_table(
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    numbers: Sequence[int] = (),
    width: int | None = None,
) -> list[str]:
    """Return the lines of a table.

    Parameters
    ----------
    header : sequence of str
    rows : sequence of rows of str
        As many texts each as the header.
    numbers : sequence of int
        Positions of the columns of numbers: set to the right, decimal points below each other.
    width : int, optional
        Width of a line; by default the terminal's.  Where a word would break, as on a phone, each row gets a
        few lines of its own.
    """
    columns = [[plain(text) for text in column] for column in zip(*rows, strict=True)] if rows else []
    for place in numbers if rows else ():
        columns[place] = align_decimals(columns[place])
    cells = [list(header), *([list(row) for row in zip(*columns, strict=True)] if rows else [])]
    filled = [[text if text.strip() else " " for text in row] for row in cells]
    room = terminal_width() if width is None else width
    natural = [max(map(display_width, column)) for column in zip(*filled, strict=True)]
    gap = 2 if sum(natural) + 2 * (len(natural) - 1) <= room else 1
    widths = column_widths(filled, room, gap=gap, least=5)
    longest = [max(map(_longest_word, column)) for column in zip(*filled, strict=True)]
    if any(least > wide for least, wide in zip(longest, widths, strict=True)):
        return _stacked(filled, room)
    widths = [max(each, 2) for each in widths]  # wrapping needs room for one wide letter
    return rows_of_cells(filled, widths, right=frozenset(numbers), gap=gap)


def tables_side_by_side(
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    first: int,
    width: int | None = None,
) -> list[str]:
    """Return a table of many columns as tables below each other, each with the first columns again.

    Parameters
    ----------
    header : sequence of str
    rows : sequence of rows of str
        Cells stay on one line; headings may wrap.
    first : int
        How many columns stand again in each table.
    width : int, optional
        Width of a line; by default the terminal's.
    """
    room = terminal_width() if width is None else width
    body = [[plain(text) for text in row] for row in rows]
    widths = [
        max([_longest_word(name), *(display_width(row[place]) for row in body)])
        for place, name in enumerate(header)
    ]
    base, blocks = sum(widths[:first]) + first, [[*range(first)]]
    free = room - base
    for place in range(first, len(header)):
        if widths[place] + 1 > free and len(blocks[-1]) > first:
            blocks.append([*range(first)])
            free = room - base
        blocks[-1].append(place)
        free -= widths[place] + 1
    lines: list[str] = []
    for block in blocks:
        cells = [[row[place] or " " for place in block] for row in [header, *body]]
        wide = [max(widths[place], 2) for place in block]
        if sum(wide) + len(wide) - 1 > room:  # a phone: one seabed alone is too wide
            lines += plain_table(cells[0], cells[1:], width=room)
            continue
        gap = 2 if sum(wide) + 2 * (len(wide) - 1) <= room else 1
        lines += rows_of_cells(cells, wide, gap=gap)
    return lines


def _longest_word(text: str) -> int:
    return max(map(display_width, text.split()), default=0)


def _stacked(cells: Sequence[Sequence[str]], width: int) -> list[str]:
    """Write each row as its first cell, then the others with their headings, indented."""
    header, *rows = cells
    lines: list[str] = []
    for first, *others in rows:
        values = [
            f"{name} {text}".strip()
            for name, text in zip(header[1:], map(str.strip, others), strict=True)
            if text
        ]
        lines += [
            *wrap(first.strip() or " ", width),
            *(f"  {line}" for line in wrap("; ".join(values), width - 2)),
        ]
    return lines


def factor_text(factor: float) -> str:
    """Return a factor on capacity with two decimals; three significant digits from 10 on."""
    return f"{factor:.2f}" if factor < 10 else significant(factor)


def each_row(table: pd.DataFrame) -> Iterator[TableRow]:
    """Yield the rows of a table, each with its columns as attributes."""
    yield from table.itertuples()


def learnt_text(contraction: float) -> str:
    """Return a contraction as percent; "wider" where the data widened the band."""
    return "wider" if contraction < 0 else f"{100 * contraction:.0f}%"

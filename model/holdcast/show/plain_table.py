"""Any small table as aligned text: wraps inside its columns, numbers set to the right."""

from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from holdcast.show.numbers import align_decimals, format_share
from holdcast.show.text_layout import column_widths, plain, rows_of_cells, terminal_width

__all__ = ["TableRow", "chance_text", "each_row", "factor_text", "learnt_text", "plain_table"]


type TableRow = Any
"""A row of a table with its columns as attributes; their types are the table's."""


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
        Width of a line; by default the terminal's.
    """
    columns = [[plain(text) for text in column] for column in zip(*rows, strict=True)] if rows else []
    for place in numbers if rows else ():
        columns[place] = align_decimals(columns[place])
    cells = [list(header), *([list(row) for row in zip(*columns, strict=True)] if rows else [])]
    filled = [[text if text.strip() else " " for text in row] for row in cells]
    widths = column_widths(filled, terminal_width() if width is None else width, least=5)
    widths = [max(each, 2) for each in widths]  # wrapping needs room for one wide letter
    return rows_of_cells(filled, widths, right=frozenset(numbers))


def factor_text(factor: float) -> str:
    """Return a factor on capacity with two decimals; three significant digits from 10 on."""
    return f"{factor:.2f}" if factor < 10 else f"{factor:.3g}"


def chance_text(share: float) -> str:
    """Return a share of draws as percent; none or all of some thousand draws is still no certainty."""
    return "<1%" if share == 0 else ">99%" if share == 1 else format_share(share)


def each_row(table: pd.DataFrame) -> Iterator[TableRow]:
    """Yield the rows of a table, each with its columns as attributes."""
    yield from table.itertuples()


def learnt_text(contraction: float) -> str:
    """Return a contraction as percent; "wider" where the data widened the band."""
    return "wider" if contraction < 0 else f"{100 * contraction:.0f}%"

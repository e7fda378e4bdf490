"""Plain text in columns: escaped, measured, wrapped and padded. Standard library only."""

import shutil
import unicodedata
from collections.abc import Sequence

__all__ = ["column_widths", "display_width", "pad", "plain", "rows_of_cells", "terminal_width", "wrap"]

# Unicode categories that draw nothing or steer the terminal: control, format (also turns text round),
# surrogate, unassigned, and the line and paragraph separators.
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Cn", "Zl", "Zp"})
_JOINTS = "_-/."


def plain(text: object) -> str:
    r"""Return text with everything invisible written out, so that a name can neither hide nor command.

    Parameters
    ----------
    text : object
        Anything; ``str`` of it is taken.

    Returns
    -------
    str
        One line, where an escape character reads ``\x1b``, a tab ``\t``, a right-to-left mark ``\u202e``.
    """
    whole = str(text)
    if whole.isascii() and whole.isprintable():
        return whole
    return "".join(
        character.encode("unicode_escape").decode("ascii")
        if unicodedata.category(character) in _HIDDEN
        else character
        for character in whole
    )


def display_width(text: str) -> int:
    """Return how many terminal columns a text takes.

    Wide and full-width characters take two columns and combining marks none (Unicode Standard Annex 11,
    East Asian Width, as kept in Python's ``unicodedata``).
    """
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(character) else 2 if unicodedata.east_asian_width(character) in "WF" else 1
        for character in text
    )


def pad(text: str, width: int, *, right: bool = False) -> str:
    """Return text filled with spaces to a width in terminal columns; ``right`` puts the text to the right."""
    space = " " * max(width - display_width(text), 0)
    return space + text if right else text + space


def _pieces(word: str, width: int) -> list[str]:
    """Cut a word that is wider than a line into pieces that are not, behind a joint where there is one."""
    pieces = [""]
    for character in word:
        if pieces[-1] and display_width(pieces[-1] + character) > width:
            full = pieces.pop()
            cut = max(full.rfind(joint, 1) for joint in _JOINTS) + 1 or len(full)
            pieces += [full[:cut], full[cut:]]
        # What is left behind a joint and one wide character may be too wide again.
        if pieces[-1] and display_width(pieces[-1] + character) > width:
            pieces.append("")
        pieces[-1] += character
    return pieces


def wrap(text: str, width: int) -> list[str]:
    """Break a text into lines of at most ``width`` terminal columns, at spaces where there are any.

    Raises
    ------
    ValueError
        When ``width`` is below 2, the width of one wide character.
    """
    if width < 2:
        raise ValueError(f"cannot wrap text to {width} columns; at least 2 are needed")
    lines: list[str] = []
    for word in text.split():
        for number, piece in enumerate(_pieces(word, width)):
            joined = f"{lines[-1]} {piece}" if lines and number == 0 else piece
            if lines and number == 0 and display_width(joined) <= width:
                lines[-1] = joined
            else:
                lines.append(piece)
    return lines or [""]


def column_widths(cells: Sequence[Sequence[str]], total: int, *, gap: int = 2, least: int = 8) -> list[int]:
    """Share a line's width between columns: each gets what it asks for, the widest give way first.

    Parameters
    ----------
    cells : sequence of rows of str
        The table with its header; all rows have the same number of columns.
    total : int
        Width of a line, in terminal columns.
    gap : int, default 2
        Spaces between two columns.
    least : int, default 8
        A column is not squeezed below this, so a very narrow ``total`` may be exceeded.
    """
    widths = [max(map(display_width, column)) for column in zip(*cells, strict=True)]
    while sum(widths) + gap * (len(widths) - 1) > total and max(widths) > least:
        widths[widths.index(max(widths))] -= 1
    return widths


def rows_of_cells(
    cells: Sequence[Sequence[str]],
    widths: Sequence[int],
    *,
    right: frozenset[int] = frozenset(),
    gap: int = 2,
) -> list[str]:
    """Return the lines of a table whose cells wrap inside their columns.

    Parameters
    ----------
    cells : sequence of rows of str
    widths : sequence of int
        Column widths, as many as a row has cells.
    right : frozenset of int
        Positions of the columns set to the right.
    gap : int, default 2
        Spaces between two columns.
    """
    lines = []
    for row in cells:
        wrapped = [wrap(cell, width) for cell, width in zip(row, widths, strict=True)]
        for level in range(max(map(len, wrapped))):
            parts = [
                pad(lines_of[level] if level < len(lines_of) else "", width, right=position in right)
                for position, (lines_of, width) in enumerate(zip(wrapped, widths, strict=True))
            ]
            lines.append((" " * gap).join(parts).rstrip())
    return lines


def terminal_width() -> int:
    """Return the terminal's width in columns: 100 where there is none, at most 140."""
    return min(shutil.get_terminal_size(fallback=(100, 24)).columns, 140)

"""From a file's bytes to a table of text cells; what the cells mean is not asked here.

A workbook's sheet becomes the same `Table` through `table_from_rows`.
"""

import csv
import io
import re
import unicodedata
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice

from holdcast.campaign.checks.collected import Findings, shorten
from holdcast.campaign.files.limits import check_table_size

__all__ = ["Table", "csv_table", "decode", "table_from_rows"]


_TITLE_ROWS = 20
"""Rows in which column names are looked for when the first row has none."""


@dataclass(frozen=True)
class Table:
    """A table of text cells, white space at their ends removed, blank rows left out.

    Parameters
    ----------
    file : str
        Name for findings.
    header : tuple of str
        Column names as written.
    rows : tuple of tuple of str
        Cells; each row as long as the header.
    numbers : tuple of int
        Row numbers as a spreadsheet shows them.
    ragged : frozenset of int
        Row numbers of rows with too many or too few cells (faults already); their cells are cut or filled.
    decimal_commas : bool
        Whether a number may be written with a decimal comma.
    header_row : int
        Row number of the header; 1 unless blank rows stand above it.
    """

    file: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...]
    ragged: frozenset[int]
    decimal_commas: bool
    header_row: int = 1


def decode(data: bytes, file: str, findings: Findings) -> str | None:
    """Decode UTF-8, with or without a byte-order mark; a fault and None when it is something else.

    Letters written as a letter and a separate accent become one character, so that a name typed on
    another machine is the same name.
    """
    try:
        return unicodedata.normalize("NFC", data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        found = f"bytes that are not UTF-8 ({data[error.start : error.start + 4].hex(' ')})"
        fix = "Save the file again as CSV UTF-8; in a spreadsheet that is a choice in 'save as'."
        findings.fault(file, found, "text in UTF-8", fix, row=row)
        return None


def _separator(text: str, file: str, findings: Findings) -> str | None:
    """Find the separator in the header: the one of comma and semicolon that it has outside quotes."""
    unquoted = re.sub('"[^"]*"', "quoted", text)
    lines = enumerate(unquoted.splitlines(), start=1)
    row, outside = next(((number, line) for number, line in lines if line.strip(" \t,;")), (1, ""))
    present = [mark for mark in ",;" if mark in outside]
    if len(present) == 2:
        fix = "Use one of the two between all column names and all cells."
        findings.fault(file, "both , and ; in the header", "one separator, , or ;", fix, row=row)
        return None
    if not present and "\t" in outside:
        fix = "Save it with commas or semicolons between the cells."
        findings.fault(file, "tabs between the column names", "one separator, , or ;", fix, row=row)
        return None
    return present[0] if present else ","


def _records(text: str, separator: str, file: str, findings: Findings) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    number = 0
    try:
        for number, cells in enumerate(reader, start=1):
            yield number, cells
    except csv.Error as error:
        fix = 'Look for a quotation mark " without its partner here or just above; rows below are unread.'
        findings.fault(file, f"a row that cannot be split into cells ({error})", "", fix, row=number + 1)


def _title_above(text: str, label: str, columns: Collection[str], file: str, findings: Findings) -> bool:
    """Add one fault where rows above the column names hold a title or the like."""
    for separator in ",;\t":
        rows = _first_rows(text, separator)
        if len(rows) < 2:
            continue
        first, title = rows[0]
        hits = [{_as_name(cell) for cell in cells} & {*columns} for _, cells in rows]
        for (number, cells), names in zip(rows[1:], hits[1:], strict=True):
            half = 2 * len(names) >= sum(map(bool, cells))
            if label in names and label not in hits[0] and len(names) > max(1, len(hits[0])) and half:
                which = "the row" if first == number - 1 else "the rows"
                title_text = shorten(" ".join(" ".join(title).split()))
                found = f"{title_text} above the column names, which stand in row {number}"
                fix = f"Delete {which} above the column names."
                findings.fault(file, found, "the column names in the first row", fix, row=first)
                return True
    return False


def _first_rows(text: str, separator: str) -> list[tuple[int, list[str]]]:
    """Return the first rows that are not blank, with their numbers; none when they cannot be split."""
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        numbered = [(number, [cell.strip() for cell in cells]) for number, cells in _few(rows)]
    except csv.Error:
        return []
    return [(number, cells) for number, cells in numbered if any(cells)]


def _few(rows: Iterable[list[str]]) -> Iterator[tuple[int, list[str]]]:
    return enumerate(islice(rows, _TITLE_ROWS), start=1)


def _as_name(cell: str) -> str:
    """Return a cell as the column name that it may mean: ``Mass (kg)`` as ``mass_kg``."""
    return re.sub(r"\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]$", r"_\1", cell.casefold()).replace(" ", "_")


def csv_table(
    data: bytes, file: str, findings: Findings, *, label: str = "", columns: Collection[str] = frozenset()
) -> Table | None:
    """Split a CSV file into text cells.

    Parameters
    ----------
    data : bytes
        The file's content.
    file : str
        Its name, for findings.
    findings : Findings
        Faults are added here.
    label : str
        Column name that every such file has; with it and `columns` a title above the header is found.
    columns : collection of str
        Column names that the file may have, in small letters.

    Returns
    -------
    Table or None
        None when the file cannot be read as a table; the fault says why.
    """
    text = decode(data, file, findings)
    if text is None:
        return None
    # Some spreadsheets write the separator into a line of its own before the header.
    text = re.sub(r"\Asep=[,;\t](?=[\r\n])", "", text)
    if _title_above(text, label, columns, file, findings):
        return None
    separator = _separator(text, file, findings)
    if separator is None:
        return None
    rows = _records(text, separator, file, findings)
    return table_from_rows(rows, file, findings, decimal_commas=separator == ";")


def table_from_rows(
    rows: Iterable[tuple[int, list[str]]], file: str, findings: Findings, *, decimal_commas: bool = False
) -> Table | None:
    """Make a table from numbered rows of text cells, the first row that is not blank being the header.

    Rows with too many or too few cells are faults; blank rows are skipped and keep their number.
    """
    filled = ((number, [cell.strip() for cell in cells]) for number, cells in rows)
    numbered = [(number, cells) for number, cells in filled if any(cells)]
    if not numbered:
        fix = "Write the column names in the first row and one row for each entry below."
        findings.fault(file, "an empty file", "a header and at least one row", fix)
        return None
    header = tuple(numbered[0][1])
    body = [_fitted(cells, len(header)) for _, cells in numbered[1:]]
    ragged = frozenset(number for number, cells in numbered[1:] if len(cells) != len(header))
    for number, cells in numbered[1:]:
        if number in ragged:
            _report_ragged(file, number, cells, len(header), findings)
    if not check_table_size(file, header, len(body), findings):
        return None
    numbers = tuple(number for number, _ in numbered[1:])
    return Table(file, header, tuple(body), numbers, ragged, decimal_commas, header_row=numbered[0][0])


def _fitted(cells: list[str], width: int) -> tuple[str, ...]:
    return tuple(cells) if len(cells) == width else tuple((cells + [""] * width)[:width])


def _report_ragged(file: str, number: int, cells: list[str], width: int, findings: Findings) -> None:
    many = len(cells) > width
    # Blank surplus is no harmless thing: a comma inside a number has moved all cells behind it.
    surplus = f"the last is {shorten(cells[-1])}" if cells[-1] else "a decimal comma makes one, too"
    fix = (
        f"Put quotation marks round a cell that holds the separator, or remove the surplus cell ({surplus})."
        if many
        else "Add the missing separators, or look for a line break inside a cell without quotation marks."
    )
    findings.fault(
        file, f"too {'many' if many else 'few'} cells ({len(cells)})", f"{width} cells", fix, row=number
    )

"""A campaign in one spreadsheet workbook: its sheets become the files of a campaign folder.

Sheets are turned into the same bytes that a folder would hold, so that everything behind reads both alike.
"""

import csv
import io
import json
import warnings
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING

from holdcast.campaign.checks.collected import Findings, nearest, shorten
from holdcast.campaign.columns.known_columns import REQUIRED_FILES
from holdcast.campaign.files.limits import MOST_CELLS, workbook_too_large

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = ["OTHER_WORKBOOKS", "WORKBOOK", "sheet_name", "workbook_files"]

WORKBOOK = ".xlsx"
OTHER_WORKBOOKS = {".xlsm", ".xls", ".ods"}
_HEADING = ("key", "value")
_Row = list[str]


def sheet_name(file: str) -> str:
    """Return the sheet that stands for a file of a campaign folder: ``anchors`` for ``anchors.csv``."""
    return file.rpartition(".")[0] or file


def workbook_files(path: Path, names: Sequence[str], findings: Findings) -> dict[str, bytes]:
    """Return the content of each file of a campaign that a workbook's sheets stand for.

    Parameters
    ----------
    path : Path
        An .xlsx file.
    names : sequence of str
        Files that a campaign may hold; sheets of other names are left alone, near misses are faults.
    findings : Findings
        What is missing or cannot be read is added here.

    Returns
    -------
    dict of str to bytes
        CSV and TOML in UTF-8.  Numbers have up to 15 digits, as spreadsheets keep them; dates are ISO; true
        and false are yes and no; a row keeps its number.
    """
    sheets = None if workbook_too_large(path, findings) else _sheets(path, findings)
    if sheets is None:
        return {}
    by_name = {title.strip().casefold(): title for title in sheets}
    present = {name: by_name[sheet_name(name)] for name in names if sheet_name(name) in by_name}
    meant = _near_misses(
        [title for title in sheets if title not in present.values()], present, names, findings
    )
    for name in REQUIRED_FILES:
        if name not in present and name not in meant:
            fix = f"Add a sheet {sheet_name(name)}; an empty campaign by 'holdcast new' shows its columns."
            findings.fault(name, "no such sheet", "", fix)
    contents = {}
    for name, title in present.items():
        if _too_wide(sheets[title][0], name, findings):
            continue
        rows = list(_rows(*sheets[title], name, findings))
        contents[name] = (_csv(rows) if name.endswith(".csv") else _toml(rows, name, findings)).encode()
    return contents


def _sheets(path: Path, findings: Findings) -> "dict[str, tuple[Worksheet, Worksheet]] | None":
    """Return each sheet twice, with values and with formulas; None with a fault when there are none."""
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings(), path.open("rb") as file:
            warnings.simplefilter("ignore")  # drawings, rules and the like that are not read are no news
            values, formulas = (load_workbook(file, data_only=only) for only in (True, False))
    except MemoryError:
        raise
    except Exception as error:  # the library meets spoilt bytes in many ways: zip, zlib, XML, missing parts
        fix = "Close programs that have it open, take a password off, and save it again as .xlsx."
        findings.fault(path.name, f"cannot be read as a workbook ({shorten(str(error), 80)})", "", fix)
        return None
    return {sheet.title: (sheet, formulas[sheet.title]) for sheet in values.worksheets}


def _too_wide(sheet: "Worksheet", file: str, findings: Findings) -> bool:
    """Add a fault when a sheet's filled cells span more than any table; a stray cell far out does it."""
    rows, columns = sheet.max_row, sheet.max_column
    if rows * columns <= MOST_CELLS:
        return False
    fix = "Delete the cells far below or right of the table, which may be blank, and save it again."
    findings.fault(
        file, f"{rows:,} rows of {columns:,} columns", f"up to {MOST_CELLS:,} cells in a sheet", fix
    )
    return True


def _near_misses(
    titles: Sequence[str], present: dict[str, str], names: Sequence[str], findings: Findings
) -> set[str]:
    """Add a fault for each sheet whose name is nearly a file's, and return the files meant."""
    absent = {sheet_name(name): name for name in names if name not in present}
    meant = set()
    for title in titles:
        if likely := nearest(title, absent, 0.8):
            meant.add(absent[likely])
            fix = f"Rename the sheet to {likely}."
            findings.fault(title, "a sheet of nearly the right name", likely, fix)
    return meant


def _rows(values: "Worksheet", formulas: "Worksheet", file: str, findings: Findings) -> Iterator[_Row]:
    """Yield the rows of a sheet as text, up to its last filled cells."""
    table = [[_text(cell.value) for cell in row] for row in values.iter_rows()]
    for row, written in zip(values.iter_rows(), formulas.iter_rows(), strict=True):
        for cell, formula in zip(row, written, strict=True):
            if cell.value is None and formula.data_type == "f":
                fix = "Open the workbook in a spreadsheet and save it, to store values, or paste values."
                findings.fault(
                    file, "a formula without a value", "", fix, row=cell.row, column=cell.column_letter
                )
    width = max((place for row in table for place, text in enumerate(row, start=1) if text), default=0)
    height = max((number for number, row in enumerate(table, start=1) if any(row)), default=0)
    yield from (row[:width] for row in table[:height])


def _text(value: object) -> str:
    """Return a cell as a tester would have typed it into a CSV file."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ")
    if isinstance(value, date):
        return value.isoformat()
    return f"{value:.15g}" if isinstance(value, float) else str(value).strip()


def _csv(rows: Sequence[_Row]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _toml(rows: Sequence[_Row], file: str, findings: Findings) -> str:
    """Return settings from rows of a key, such as ``title`` or ``boat.bow_height_m``, and a value."""
    lines = []
    for number, row in enumerate(rows, start=1):
        key, value, *more = [*row, "", ""][: max(len(row), 2)]
        if (not key and not value) or (key.casefold(), value.casefold()) == _HEADING:
            continue
        if not key or any(more):
            fix = (
                "Write the key, such as boat.bow_height_m, into the first cell and its value into the second."
            )
            findings.fault(file, "a row that is no key and value", "two cells", fix, row=number)
            continue
        parts = key.split(".", 2 if key.startswith("priors.") else 1)
        lines.append(f"{'.'.join(map(_quoted, parts))} = {_value(value)}\n")
    return "".join(lines)


def _value(text: str) -> str:
    """Return a cell as a TOML value: a number where it is one, else text."""
    try:
        return repr(float(text))
    except ValueError:
        return _quoted(text)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)

"""From a table of text cells to a checked data frame in the units kept inside."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from holdcast.campaign.checks.collected import MOST_SHOWN, Findings, nearest, shorten
from holdcast.campaign.columns.cell_values import hidden_characters, parse_dates, parse_numbers, why_no_number
from holdcast.campaign.columns.headers import Match, match_headers, unread_columns
from holdcast.campaign.columns.known_columns import Column, FileColumns
from holdcast.campaign.files.limits import MOST_LABEL_CHARACTERS, MOST_TEXT_CHARACTERS
from holdcast.campaign.files.tables import Table
from holdcast.physics.units import FACTORS

__all__ = ["Mask", "Sheet", "empty_sheet", "read_sheet"]

Mask = npt.NDArray[np.bool_]
Cells = pd.Series | npt.NDArray[np.float64] | npt.NDArray[np.bool_] | npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class Sheet:
    """A file's rows as a frame, with what is needed to point back into the file.

    Parameters
    ----------
    file : str
        The file's name.
    frame : DataFrame, one row for each row of the file, in its order
        Every known column under its stored name (also those the file lacks) and the unknown ones.
    rows : ndarray of int, shape (n,)
        Row numbers as a spreadsheet shows them.
    texts : mapping of str to list of str
        The cells as written, by stored name, for the columns that the file has.
    headers : mapping of str to str
        The columns' names as written, by stored name.
    unread : mapping of str to ndarray of bool, shape (n,)
        Cells that have a fault of their own already, so that later checks stay silent about them; all cells
        of a column whose name was not understood.
    lenient : ndarray of bool, shape (n,)
        Excluded rows, whose faulty readings are doubts only.
    ragged : ndarray of bool, shape (n,)
        Rows with too many or too few cells; nothing more is said about them.
    header_row : int
        Row number of the column names.
    """

    file: str
    frame: pd.DataFrame
    rows: npt.NDArray[np.int64]
    texts: Mapping[str, list[str]]
    headers: Mapping[str, str]
    lenient: Mask
    ragged: Mask
    unread: dict[str, Mask] = field(default_factory=dict)
    header_row: int = 1

    def has(self, column: str) -> bool:
        """Whether the file has the column (a stored name)."""
        return column in self.texts

    def sound(self, *columns: str) -> Mask:
        """Rows whose cells in these columns have no fault of their own."""
        sound = ~self.ragged
        for column in columns:
            if column in self.unread:
                sound &= ~self.unread[column]
        return sound

    def report(
        self,
        findings: Findings,
        bad: Mask,
        column: str,
        *,
        allowed: str,
        fix: str | Callable[[int], str],
        found: Callable[[int], str] | None = None,
        severity: str = "fault",
        reading: bool = False,
    ) -> None:
        """Add a finding for each row where `bad`; only the first `MOST_SHOWN` are kept one by one.

        A fault of a `reading` is a doubt where the row is excluded: a fouled pull need not be a good one.
        """
        places = np.flatnonzero(bad & ~self.ragged)
        lenient = self.lenient if reading else np.zeros_like(self.lenient)
        for place in places[:MOST_SHOWN].tolist():
            as_doubt = severity == "doubt" or bool(lenient[place])
            add = findings.doubt if as_doubt else findings.fault
            what = found(place) if found else self._as_written(column, place)
            remedy = fix if isinstance(fix, str) else fix(place)
            header = self.headers.get(column, column)
            add(self.file, what, allowed, remedy, row=int(self.rows[place]), column=header)
        rest = places[MOST_SHOWN:]
        doubts = int(lenient[rest].sum()) if severity == "fault" else len(rest)
        findings.count_more("doubt", doubts)
        findings.count_more("fault", len(rest) - doubts)

    def _as_written(self, column: str, place: int) -> str:
        text = self.texts[column][place] if column in self.texts else ""
        return shorten(text) if text else "a blank cell"


def read_sheet(table: Table, spec: FileColumns, findings: Findings) -> Sheet:
    """Read a table's cells into typed columns, adding every fault of a single cell to `findings`.

    Parameters
    ----------
    table : Table
        Text cells.
    spec : FileColumns
        The columns that this file may hold.
    findings : Findings
        Faults and doubts are added here.
    """
    matches = match_headers(table, spec, findings)
    columns = list(zip(*table.rows, strict=True)) or [()] * len(table.header)
    texts = {match.stored_name: list(columns[match.place]) for match in matches}
    exclude = texts.get("exclude", [""] * len(table.rows))
    sheet = Sheet(
        file=table.file,
        frame=pd.DataFrame(index=pd.RangeIndex(len(table.rows))),
        rows=np.array(table.numbers, dtype=np.int64),
        texts=texts,
        headers={match.stored_name: match.header for match in matches},
        lenient=np.array([bool(text) for text in exclude], dtype=bool),
        ragged=np.array([number in table.ragged for number in table.numbers], dtype=bool),
        header_row=table.header_row,
    )
    present = {match.stored_name: match for match in matches}
    read = {column.stored_name: _blank(column, len(sheet.rows)) for column in spec.columns}
    for name, match in present.items():
        read[name] = _read_column(sheet, match, table.decimal_commas, findings)
    for name in unread_columns(table, spec):
        sheet.unread[name] = np.ones(len(sheet.rows), dtype=bool)
    return replace(sheet, frame=pd.DataFrame(read, index=sheet.frame.index))


def _blank(column: Column, length: int) -> Cells:
    """Return the values of a column that the file does not have."""
    if column.kind in {"number", "whole"}:
        return np.full(length, np.nan)
    if column.kind == "date":
        return np.full(length, np.datetime64("NaT", "s"))
    return _text([column.default] * length)


def _read_column(sheet: Sheet, match: Match, decimal_commas: bool, findings: Findings) -> Cells:
    name = match.stored_name
    column = match.column or Column(name, "text")
    texts = sheet.texts[name]
    sheet.unread[name] = np.zeros(len(texts), dtype=bool)
    if column.needed:
        blank = np.array([not text for text in texts], dtype=bool)
        sheet.unread[name] |= blank
        sheet.report(findings, blank, name, allowed=_allowed(column, match), fix="Fill the cell.")
    if column.kind in {"number", "whole"}:
        return _numbers(sheet, column, match, decimal_commas, findings)
    if column.kind == "date":
        return _dates(sheet, name, texts, findings)
    if column.kind == "flag":
        return np.array([word == "yes" for word in _words(sheet, column, texts, findings)], dtype=bool)
    if column.kind == "word":
        return _text(_words(sheet, column, texts, findings))
    _check_characters(sheet, name, texts, findings, line_breaks=column.kind == "text")
    _check_length(sheet, column, texts, findings)
    return _text(texts)


def _text(texts: list[str]) -> pd.Series:
    return pd.Series(texts, dtype="str")


def _allowed(column: Column, match: Match) -> str:
    """Say what a column's cells may hold, limits in the unit that the file uses."""
    if column.words:
        return ", ".join(column.words)
    if column.kind not in {"number", "whole"}:
        return "a date such as 2024-05-31" if column.kind == "date" else "a name"
    factor = FACTORS[column.quantity][match.unit] if column.quantity else 1.0
    parts = [
        f"above {column.above / factor:g}" if column.above is not None else "",
        f"{column.least / factor:g} or more" if column.least is not None else "",
        f"not over {column.most / factor:g}" if column.most is not None else "",
    ]
    what = "a whole number" if column.kind == "whole" else "a number"
    return f"{what} {', '.join(part for part in parts if part)}"


def _numbers(
    sheet: Sheet, column: Column, match: Match, decimal_commas: bool, findings: Findings
) -> npt.NDArray[np.float64]:
    name, allowed = column.stored_name, _allowed(column, match)
    texts = sheet.texts[name]
    fractions = column.quantity in {"inch size", "millimetre size"}
    values, bad_places, ambiguous = parse_numbers(texts, decimal_commas=decimal_commas, fractions=fractions)
    bad = _mask(bad_places, len(texts))

    def why(place: int) -> str:
        return why_no_number(texts[place], decimal_commas=decimal_commas, column=name)

    sheet.report(findings, bad, name, allowed=allowed, fix=why, reading=True)
    bad |= _report_marks(sheet, name, texts, values, _mask(ambiguous, len(texts)), findings)
    factor = FACTORS[column.quantity][match.unit] if column.quantity else 1.0
    with np.errstate(over="ignore"):
        values = values * factor
    outside = ~bad & _outside(values, column)
    fix = "Correct the number, or leave the cell blank when it was not measured."
    sheet.report(findings, outside, name, allowed=allowed, fix=fix, reading=True)
    sheet.unread[name] |= bad | outside
    return np.where(bad | outside, np.nan, values)


def _report_marks(
    sheet: Sheet,
    name: str,
    texts: list[str],
    values: npt.NDArray[np.float64],
    ambiguous: Mask,
    findings: Findings,
) -> Mask:
    """Report numbers in a file with semicolons that could hold a thousands separator; return the faults."""
    comma_used = any("," in text for text in texts)
    point_in_group = ambiguous & np.array(["." in text for text in texts], dtype=bool)
    faults = point_in_group if comma_used else np.zeros(len(texts), dtype=bool)
    fix = "The column has decimal commas, so this point looks like a thousands separator: write it without."
    sheet.report(findings, faults, name, allowed="one decimal mark in a column", fix=fix, reading=True)

    def read_as(place: int) -> str:
        joined = texts[place].replace(",", "").replace(".", "")
        return f"It is read as {values[place]:g}; if {joined} is meant, write it without a separator."

    doubts = ambiguous & ~faults
    sheet.report(findings, doubts, name, allowed="no thousands separators", fix=read_as, severity="doubt")
    return faults


def _outside(values: npt.NDArray[np.float64], column: Column) -> Mask:
    # A limit met exactly in the file's unit may be missed by one rounding after the conversion.
    outside = np.zeros(len(values), dtype=bool)
    if column.above is not None:
        outside |= values <= column.above
    if column.least is not None:
        outside |= values < column.least * (1 - 1e-12)
    if column.most is not None:
        outside |= values > column.most * (1 + 1e-12)
    if column.kind == "whole":
        outside |= ~np.isnan(values) & (values != np.floor(values))
    return outside


def _dates(sheet: Sheet, name: str, texts: list[str], findings: Findings) -> npt.NDArray[np.datetime64]:
    days, places = parse_dates(texts)
    bad = _mask(places, len(texts))
    sheet.unread[name] |= bad
    fix = "Write year-month-day; a spreadsheet may have to be told that the column is text."
    sheet.report(findings, bad, name, allowed="a date such as 2024-05-31", fix=fix)
    return days


def _words(sheet: Sheet, column: Column, texts: list[str], findings: Findings) -> list[str]:
    lowered = [text.casefold() or column.default for text in texts]
    bad = np.array([bool(text) and text not in column.words for text in lowered], dtype=bool)
    sheet.unread[column.stored_name] |= bad

    def fix(place: int) -> str:
        likely = nearest(lowered[place].replace(" ", "_"), column.words)
        return f"Did you mean {likely}?" if likely else "Write one of the allowed words."

    allowed = ", ".join(column.words)
    sheet.report(findings, bad, column.stored_name, allowed=allowed, fix=fix)
    return [column.default if wrong else text for text, wrong in zip(lowered, bad, strict=True)]


def _check_characters(
    sheet: Sheet, name: str, texts: list[str], findings: Findings, *, line_breaks: bool
) -> None:
    hidden = {text: code for text in set(texts) if (code := hidden_characters(text, line_breaks=line_breaks))}
    bad = np.array([text in hidden for text in texts], dtype=bool)
    sheet.unread[name] |= bad
    sheet.report(
        findings,
        bad,
        name,
        found=lambda place: f"{shorten(texts[place])} with hidden characters ({hidden[texts[place]]})",
        allowed="printable characters",
        fix="Type the text again; copying from elsewhere can bring such characters along.",
    )


def _check_length(sheet: Sheet, column: Column, texts: list[str], findings: Findings) -> None:
    """Add a fault for each cell whose text is longer than a name or a note may be."""
    most = MOST_TEXT_CHARACTERS if column.kind == "text" else MOST_LABEL_CHARACTERS
    long = np.array([len(text) > most for text in texts], dtype=bool)
    name = column.stored_name
    sheet.unread[name] |= long
    sheet.report(
        findings,
        long,
        name,
        found=lambda place: f"{shorten(texts[place])}, {len(texts[place]):,} characters",
        allowed=f"up to {most:,} characters",
        fix="Write a shorter text.",
    )


def _mask(places: list[int], length: int) -> Mask:
    mask = np.zeros(length, dtype=bool)
    mask[places] = True
    return mask


def empty_sheet(spec: FileColumns) -> Sheet:
    """Return a sheet without rows, for a file that a campaign need not have."""
    return read_sheet(Table(spec.file, (), (), (), frozenset(), False), spec, Findings())

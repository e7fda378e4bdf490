"""From a table of text cells to a checked data frame in the units kept inside."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from holdcast.campaign.checks.collected import Findings, nearest, shorten
from holdcast.campaign.checks.many_rows import fitting_names, most_of
from holdcast.campaign.columns.cell_values import hidden_characters, parse_dates, parse_numbers, why_no_number
from holdcast.campaign.columns.headers import Match, match_headers, unread_columns
from holdcast.campaign.columns.known_columns import Column, FileColumns
from holdcast.campaign.columns.typing_slips import (
    advice_on_slip,
    day_order,
    iso_date,
    kind_of_slip,
    plural_of_slip,
)
from holdcast.campaign.files.limits import MOST_LABEL_CHARACTERS, MOST_TEXT_CHARACTERS
from holdcast.campaign.files.sheets import Mask, Sheet
from holdcast.campaign.files.tables import Table
from holdcast.physics.units import FACTORS
from holdcast.plain_numbers import significant

__all__ = ["empty_sheet", "read_sheet"]

TOTAL_WORDS = {
    *(
        "total",
        "totals",
        "grand total",
        "subtotal",
        "sum",
        "summe",
        "gesamt",
        "mean",
        "average",
        "avg",
        "median",
    ),
    *("min", "minimum", "max", "maximum", "count", "std", "sd", "stdev"),
}
"""What spreadsheets and people write beside sums and means at the foot of a table."""
_FOOT_ROWS = 5
Cells = pd.Series | npt.NDArray[np.float64] | npt.NDArray[np.bool_] | npt.NDArray[np.datetime64]


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
    totals = _total_rows(table, spec, findings)
    sheet = Sheet(
        file=table.file,
        frame=pd.DataFrame(index=pd.RangeIndex(len(table.rows))),
        rows=np.array(table.numbers, dtype=np.int64),
        texts=texts,
        headers={match.stored_name: match.header for match in matches},
        lenient=np.array([bool(text) for text in exclude], dtype=bool),
        ragged=np.array([number in table.ragged for number in table.numbers], dtype=bool) | totals,
        header_row=table.header_row,
    )
    present = {match.stored_name: match for match in matches}
    read = {column.stored_name: _blank(column, len(sheet.rows)) for column in spec.columns}
    for name, match in present.items():
        read[name] = _read_column(sheet, match, table.decimal_commas, findings)
    for name in unread_columns(table, spec):
        sheet.unread[name] = np.ones(len(sheet.rows), dtype=bool)
    return replace(sheet, frame=pd.DataFrame(read, index=sheet.frame.index))


def _total_rows(table: Table, spec: FileColumns, findings: Findings) -> Mask:
    """Report a row of sums or means at the foot of a table; return the rows that are such."""
    labels = {column.name for column in spec.columns if column.kind == "label"}
    places = [place for place, header in enumerate(table.header) if header.casefold() in labels]
    totals = np.zeros(len(table.rows), dtype=bool)
    for at in range(max(len(table.rows) - _FOOT_ROWS, 1), len(table.rows)):
        words = {table.rows[at][place].casefold().strip(" :.") for place in places} & TOTAL_WORDS
        if words and table.numbers[at] not in table.ragged:
            totals[at] = True
            found = f"a row of {shorten(words.pop())}"
            fix = "Delete the row: every row is one entry. The program adds up by itself."
            findings.fault(table.file, found, "one entry in each row", fix, row=table.numbers[at])
    return totals


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

    def limit(number: float) -> str:
        return significant(number / factor, 2 if factor != 1.0 else 6)

    parts = [
        f"above {limit(column.above)}" if column.above is not None else "",
        f"{limit(column.least)} or more" if column.least is not None else "",
        f"not over {limit(column.most)}" if column.most is not None else "",
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

    single = bad & ~_report_slips(sheet, name, texts, bad, allowed, findings)
    sheet.report(findings, single, name, allowed=allowed, fix=why, reading=True)
    bad |= _report_marks(sheet, name, texts, values, _mask(ambiguous, len(texts)), findings)
    factor = FACTORS[column.quantity][match.unit] if column.quantity else 1.0
    with np.errstate(over="ignore"):
        values = values * factor
    outside = ~bad & _outside(values, column)
    _report_outside(sheet, column, values, outside, allowed, findings)
    sheet.unread[name] |= bad | outside
    return np.where(bad | outside, np.nan, values)


def _report_outside(
    sheet: Sheet,
    column: Column,
    values: npt.NDArray[np.float64],
    outside: Mask,
    allowed: str,
    findings: Findings,
) -> None:
    """Report numbers outside a column's limits: one by one, or most of a column at once."""
    name = column.stored_name
    if column.quantity and most_of(outside, ~np.isnan(values)):
        header = sheet.headers[name]
        names = fitting_names(column, header, values, lambda each: ~_outside(each, column))
        example = shorten(sheet.texts[name][int(np.flatnonzero(outside)[0])])
        fix = "Is the suffix wrong?" + (f" As {names} they would be allowed." if names else "")
        what = f"{int(outside.sum())} numbers such as {example}"
        sheet.report_together(findings, outside, name, what=what, allowed=allowed, fix=fix, reading=True)
        return
    fix = "Correct the number, or leave the cell blank when it was not measured."
    sheet.report(findings, outside, name, allowed=allowed, fix=fix, reading=True)


def _report_slips(
    sheet: Sheet, name: str, texts: list[str], bad: Mask, allowed: str, findings: Findings
) -> Mask:
    """Report each kind of slip that several cells of a column have once; return their rows."""
    kinds = np.array([kind_of_slip(text) if wrong else "" for text, wrong in zip(texts, bad, strict=True)])
    reported = np.zeros(len(texts), dtype=bool)
    for kind in sorted(set(kinds) - {""}):
        rows = kinds == kind
        if rows.sum() > 1:
            example = shorten(texts[int(np.flatnonzero(rows)[0])])
            what = f"{int(rows.sum())} {plural_of_slip(kind)} such as {example}"
            fix = advice_on_slip(kind, name)
            sheet.report_together(findings, rows, name, what=what, allowed=allowed, fix=fix, reading=True)
            reported |= rows
    return reported


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
    order = day_order(texts)
    orders = (order,) if order else ("day", "month")
    meant = [iso_date(text, orders) if wrong else "" for text, wrong in zip(texts, bad, strict=True)]
    local = np.array([bool(day) for day in meant], dtype=bool)
    allowed = "a date such as 2024-05-31"
    if local.sum() > 1:
        first = int(np.flatnonzero(local)[0])
        what = f"{int(local.sum())} dates such as {shorten(texts[first])}"
        order_told = f", {order} first" if order else ""
        fix = f"Write year-month-day: {texts[first]} is {meant[first]}{order_told}."
        sheet.report_together(findings, local, name, what=what, allowed=allowed, fix=fix)
        bad &= ~local

    def remedy(place: int) -> str:
        if meant[place]:
            return f"Write year-month-day: {meant[place]}."
        return "Write year-month-day; a spreadsheet may have to be told that the column is text."

    sheet.report(findings, bad, name, allowed=allowed, fix=remedy)
    return days


def _words(sheet: Sheet, column: Column, texts: list[str], findings: Findings) -> list[str]:
    lowered = [text.casefold() or column.default for text in texts]
    bad = np.array([bool(text) and text not in column.words for text in lowered], dtype=bool)
    sheet.unread[column.stored_name] |= bad

    def fix(place: int) -> str:
        if meaning := column.meanings.get(lowered[place]):
            return meaning
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

"""Which column of a file is which: names matched to the known columns, slips named back."""

import re
from collections import defaultdict
from dataclasses import dataclass

from holdcast.campaign.checks.collected import Findings, nearest, shorten
from holdcast.campaign.columns.cell_values import hidden_characters
from holdcast.campaign.columns.known_columns import Column, FileColumns
from holdcast.campaign.files.tables import Table
from holdcast.physics.units import FACTORS

__all__ = ["Match", "match_headers", "unread_columns"]

_OWN_NAMES = {"status"}  # columns that the reading adds
_UNITS = {unit for units in FACTORS.values() for unit in units}
_TELLING_UNITS = {unit for kind in ("mass", "force", "area", "strength") for unit in FACTORS[kind]} - {"kn"}


@dataclass(frozen=True)
class Match:
    """A column of a file that is kept: its place, its name as written and what it is (None: unknown)."""

    place: int
    header: str
    column: Column | None
    unit: str = ""

    @property
    def stored_name(self) -> str:
        """Name inside the program; an unknown column keeps the name it has."""
        return self.column.stored_name if self.column else self.header


def match_headers(table: Table, spec: FileColumns, findings: Findings) -> list[Match]:
    """Match a table's header to the columns that its file may hold.

    Returns
    -------
    list of Match
        In the table's order, each stored name once. Unknown columns stay, with None for a column.
    """
    by_name = {name: (column, unit) for column in spec.columns for name, unit in column.written_names.items()}
    matches: list[Match] = []
    for place, header in enumerate(table.header):
        match = _match(place, header, by_name, table, spec, findings)
        if match is not None:
            matches.append(match)
    single = _without_repeats(matches, table, findings)
    _report_missing(table, by_name, spec, findings)
    return single


def _match(
    place: int,
    header: str,
    by_name: dict[str, tuple[Column, str]],
    table: Table,
    spec: FileColumns,
    findings: Findings,
) -> Match | None:
    name = header.casefold()
    if name in by_name:
        return Match(place, header, *by_name[name])
    if spec.has_flags and name.startswith("flag_") and len(name) > len("flag_"):
        return Match(place, header, Column(name, "flag", words=("yes", "no"), default="no"))
    if not header and not any(row[place] for row in table.rows):
        return None  # spreadsheets write such empty columns at the right edge
    fault = _fault_of(header, by_name, spec)
    if fault is not None:
        found, allowed, fix = fault
        findings.fault(table.file, found, allowed, fix, row=table.header_row, column=header)
        return None
    if not any(_may_be(header, column, by_name) for column in _absent(table, by_name, spec)):
        _doubt_reading(header, table, spec, findings)
    return Match(place, header, None)


def _fault_of(
    header: str, by_name: dict[str, tuple[Column, str]], spec: FileColumns
) -> tuple[str, str, str] | None:
    """Return what is wrong with a name that is not known, or None when it may ride along as it is."""
    if not header:
        return "a column without a name", "a name for each column", "Name the column or remove its cells."
    if hidden := hidden_characters(header, line_breaks=False):
        return f"hidden characters in a name ({hidden})", "printable characters", "Type the name again."
    name = header.casefold()
    if name in _OWN_NAMES:
        return f"the name {header}", "", "Rename the column: the results have a column of that name."
    base, _, unit = name.partition("_")
    for column in spec.columns:
        if column.quantity and (name == column.name or _wrong_unit(name, column)):
            names = ", ".join(column.written_names)
            return f"the name {shorten(header)}", names, "End the name with the unit of its numbers."
    if spec.has_flags and name == "flag_":
        fix = "Write the feature's name behind it, such as flag_roll_bar."
        return "flag_ without a feature's name", "flag_NAME", fix
    if spec.has_flags and unit and nearest(base, ["flag"], 0.75):
        return f"the unknown name {shorten(header)}", "flag_NAME", f"Did you mean flag_{unit}?"
    likely = _likely_name(name, by_name)
    if likely:
        fix = f"Did you mean {likely}? Rename the column; a column of your own needs a name less like it."
        return f"the unknown name {shorten(header)}", "", fix
    return None


def _wrong_unit(name: str, column: Column) -> bool:
    return name.startswith(f"{column.name}_") and name.removeprefix(f"{column.name}_") in _UNITS


def _likely_name(name: str, by_name: dict[str, tuple[Column, str]]) -> str:
    """Return the known name of which `name` is a near miss, or is with its unit in brackets: mass (kg).

    A longer word that begins like a known one (tester, test) is a name of its own.
    """
    written_out = re.sub(r"\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]$", r"_\1", name).replace(" ", "_")
    if written_out in by_name:
        return written_out
    likely = nearest(name, by_name, 0.8)
    longer, shorter = sorted((name, likely), key=len, reverse=True)
    begins_alike = longer.startswith(shorter) and len(longer) - len(shorter) > 1
    return "" if likely and begins_alike else likely


def _doubt_reading(header: str, table: Table, spec: FileColumns, findings: Findings) -> None:
    """Ask about an unknown column that looks as if it held a reading that would count."""
    name, found = header.casefold(), f"the unknown name {shorten(header)}"
    for column in spec.columns:
        if column.quantity and name.startswith(f"{column.name}_"):
            fix = "It is carried along, not used. If its numbers are to count, name it one of these."
            allowed = ", ".join(column.written_names)
            findings.doubt(table.file, found, allowed, fix, row=table.header_row, column=header)
            return
    measures = [each for column in spec.columns for each in _names_of_unit(name, column)]
    # A column of one's own may well be a wind in kn or a tide in m; hardly a force, a mass or an area.
    if measures and name.rpartition("_")[2] in _TELLING_UNITS:
        fix = "It ends like a measure, but is carried along, not used. Is it one of these? Then rename it."
        findings.doubt(table.file, found, ", ".join(measures), fix, row=table.header_row, column=header)
    elif spec.has("exclude") and name.startswith("exclu"):
        fix = "It is carried along, and excludes nothing. If it is to exclude rows, name it exclude."
        findings.doubt(table.file, found, "exclude", fix, row=table.header_row, column=header)


def _names_of_unit(name: str, column: Column) -> list[str]:
    """Return the known name that a quantity has in the unit that an unknown name ends with, if any."""
    return [by_name for by_name, unit in column.written_names.items() if unit and name.endswith(f"_{unit}")]


def _without_repeats(matches: list[Match], table: Table, findings: Findings) -> list[Match]:
    groups: dict[str, list[Match]] = defaultdict(list)
    for match in matches:
        groups[match.stored_name.casefold()].append(match)
    for group in groups.values():
        if len(group) == 1:
            continue
        names = ", ".join(match.header for match in group)
        same = len({match.header.casefold() for match in group}) == 1
        found = f"the same column {len(group)} times" if same else f"one quantity in two units ({names})"
        fix = "Keep one of them; the others' numbers would not be used."
        header, row = group[1].header, table.header_row
        findings.fault(table.file, found, "each quantity once", fix, row=row, column=header)
    return [group[0] for group in groups.values()]


def _report_missing(
    table: Table, by_name: dict[str, tuple[Column, str]], spec: FileColumns, findings: Findings
) -> None:
    for column in _absent(table, by_name, spec):
        names = " or ".join(column.written_names)
        fix = f"Add a column {names} and fill it for every row."
        if similar := [header for header in table.header if _may_be(header, column, by_name)]:
            fix = f"Is it {' or '.join(similar)}? Then rename that column; else add one."
        findings.fault(spec.file, f"no column {names}", names, fix, row=table.header_row)


def _absent(table: Table, by_name: dict[str, tuple[Column, str]], spec: FileColumns) -> list[Column]:
    """Return needed columns that the file has under none of their names; a fault asks for each."""
    names = {name for header in table.header if (name := header.casefold()) in by_name}
    present = {by_name[name][0].stored_name for name in names}
    # A column that is there under nearly its name has its fault already.
    present |= {
        column.stored_name for name in _strange(table, by_name) if (column := _meant(name, by_name, spec))
    }
    return [column for column in spec.columns if column.needed and column.stored_name not in present]


def _may_be(header: str, column: Column, by_name: dict[str, tuple[Column, str]]) -> bool:
    """Return whether a column of a name that is not known has a needed quantity's unit."""
    return header.casefold() not in by_name and bool(_names_of_unit(header.casefold(), column))


def _strange(table: Table, by_name: dict[str, tuple[Column, str]]) -> list[str]:
    return [name for header in table.header if (name := header.casefold()) not in by_name]


def _meant(name: str, by_name: dict[str, tuple[Column, str]], spec: FileColumns) -> Column | None:
    """Return the column that a faulty name most likely stands for: a slip, or a unit wrong or missing."""
    for column in spec.columns:
        if column.quantity and (name == column.name or _wrong_unit(name, column)):
            return column
    likely = _likely_name(name, by_name)
    return by_name[likely][0] if likely else None


def unread_columns(table: Table, spec: FileColumns) -> set[str]:
    """Return stored names of columns that the file seems to have, under a name that was not understood.

    What leans on them would be a doubt about the name once more, row by row.
    """
    by_name = {name: (column, unit) for column in spec.columns for name, unit in column.written_names.items()}
    present = {
        by_name[name][0].stored_name for header in table.header if (name := header.casefold()) in by_name
    }
    unread = set()
    for name in _strange(table, by_name):
        carried = (c for c in spec.columns if c.quantity and name.startswith(f"{c.name}_"))
        if column := _meant(name, by_name, spec) or next(carried, None):
            unread.add(column.stored_name)
    return unread - present

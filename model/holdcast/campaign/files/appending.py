"""Rows put behind those of a campaign's trials.csv: whole or not at all, with a backup."""

import csv
import io
import os
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.columns.headers import Match, match_headers
from holdcast.campaign.columns.known_columns import TRIALS
from holdcast.campaign.files.tables import Table, csv_table
from holdcast.physics.units import FACTORS

__all__ = ["ChangedMeanwhileError", "appended", "replace_kept"]

_DIGITS = 10
"""Of a number whose unit is another one in the campaign's file: far beyond any reading."""


class ChangedMeanwhileError(Exception):
    """The file is no longer what was read."""


def appended(before: bytes, new: Table) -> bytes:
    """Return a trials.csv with the rows of another one behind its own.

    Parameters
    ----------
    before : bytes
        The campaign's trials.csv, without faults.
    new : Table
        Rows without faults, in the columns of trials.csv; any order, any unit.

    Notes
    -----
    Its own rows stay as they are, byte by byte, unless the new rows bring columns that it lacks: then each is
    written again with blank cells behind it, its cells as they were.  A number is written in the unit of the
    file's own column.
    """
    nothing = Findings()
    old = csv_table(before, TRIALS.file, nothing)
    if old is None:
        raise ValueError("a trials.csv without faults is needed")
    matches = match_headers(old, TRIALS, nothing), match_headers(new, TRIALS, nothing)
    by_name = {match.stored_name: match for match in matches[1]}
    own = {match.stored_name for match in matches[0]}
    extra = [match for match in matches[1] if match.stored_name not in own and _is_filled(new, match.place)]
    columns: list[tuple[Match, Match | None]] = [
        (match, by_name.get(match.stored_name)) for match in matches[0]
    ]
    at = {match.place: pair for match, pair in ((each[0], each) for each in columns)}
    separator = ";" if old.decimal_commas else ","
    rows = [
        [
            *(_cell(row, at.get(place), new, old) for place in range(len(old.header))),
            *(
                _as_number(row[match.place], new, old) if _is_number(match) else row[match.place]
                for match in extra
            ),
        ]
        for row in new.rows
    ]
    text = before.decode("utf-8-sig")
    mark = before.startswith(b"\xef\xbb\xbf")
    ending = "\r\n" if "\r\n" in text else "\n"
    if extra:
        text = _widened(text, separator, ending, [match.header for match in extra])
    elif not text.endswith(("\n", "\r")):
        text += ending
    return (b"\xef\xbb\xbf" if mark else b"") + (text + _lines(rows, separator, ending)).encode()


def _is_filled(table: Table, place: int) -> bool:
    return any(row[place] for row in table.rows)


def _is_number(match: Match) -> bool:
    return match.column is not None and match.column.kind in {"number", "whole"}


def _cell(row: Sequence[str], pair: tuple[Match, Match | None] | None, new: Table, old: Table) -> str:
    """Return a new row's cell under a column of the campaign's file, in that column's unit."""
    if pair is None or pair[1] is None:
        return ""
    own, other = pair[0], pair[1]
    text = row[other.place]
    if not text or not _is_number(other):
        return text
    if own.unit == other.unit or other.column is None:
        return _as_number(text, new, old)
    factors = FACTORS[other.column.quantity]
    value = float(text.replace(",", ".") if new.decimal_commas else text)
    return _as_number(f"{value * factors[other.unit] / factors[own.unit]:.{_DIGITS}g}", old, old)


def _as_number(text: str, new: Table, old: Table) -> str:
    """Return a number with the decimal mark that the campaign's file can hold."""
    return text.replace(",", ".") if new.decimal_commas and not old.decimal_commas else text


def _widened(text: str, separator: str, ending: str, names: Sequence[str]) -> str:
    """Return a table with blank columns of some names behind its own."""
    header, *rows = [
        cells for cells in csv.reader(io.StringIO(text, newline=""), delimiter=separator) if any(cells)
    ]
    wide = [[*header, *names], *([*cells, *([""] * len(names))] for cells in rows)]
    return _lines(wide, separator, ending)


def _lines(rows: Sequence[Sequence[str]], separator: str, ending: str) -> str:
    stream = io.StringIO(newline="")
    csv.writer(stream, delimiter=separator, lineterminator=ending).writerows(rows)
    return stream.getvalue()


def replace_kept(path: Path, before: bytes, after: bytes) -> Path:
    """Put new content in a file's place, the old one kept beside, and return where that is.

    Raises
    ------
    ChangedMeanwhileError
        When the file no longer holds what it did; nothing is written then.
    OSError
        When the folder cannot be written; the file is as it was.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(after)
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(path, name)
        if path.read_bytes() != before:
            raise ChangedMeanwhileError(str(path))
        backup = _free(path)
        shutil.copy2(path, backup)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return backup


def _free(path: Path) -> Path:
    """Return a name beside a file that no file has yet."""
    number = 1
    while (backup := path.with_name(f"{path.name}.backup-{number}")).exists():
        number += 1
    return backup

"""How large a campaign's files and texts may be: far above any log, far below what hurts a machine.

All are choices, without a source: a log of 35,000 pulls, more than anyone will make, takes 3 MB.
"""

from collections.abc import Sequence
from pathlib import Path
from zipfile import BadZipFile, ZipFile

from holdcast.campaign.checks.collected import Findings, shorten

__all__ = [
    "MOST_CELLS",
    "MOST_COLUMNS",
    "MOST_DIGITS",
    "MOST_LABEL_CHARACTERS",
    "MOST_LEVELS",
    "MOST_ROWS",
    "MOST_TEXT_CHARACTERS",
    "check_table_size",
    "too_large",
    "workbook_too_large",
]

MOST_FILE_BYTES = 50_000_000
MOST_SETTINGS_BYTES = 1_000_000
MOST_UNPACKED_BYTES = 500_000_000
"""Of a workbook, whose sheets are packed some ten times smaller."""
MOST_ROWS = 200_000
MOST_COLUMNS = 500
MOST_CELLS = 10_000_000
MOST_LABEL_CHARACTERS = 200
"""Of a name: of an anchor, a seabed, a trial, a column, a title."""
MOST_LEVELS = 10
"""Of tables and lists within each other in the settings."""
MOST_DIGITS = 19
"""Of a whole number in the settings: TOML's own go up to 2 ** 63 (toml.io, v1.0.0, Integer)."""
MOST_TEXT_CHARACTERS = 10_000
"""Of a note or any other text in a cell."""


def too_large(path: Path, findings: Findings) -> bool:
    """Add a fault when a file is larger than any campaign's; looked up, not read."""
    most = MOST_SETTINGS_BYTES if path.suffix.casefold() == ".toml" else MOST_FILE_BYTES
    size = path.stat().st_size
    if size <= most:
        return False
    found = f"a file of {_megabytes(size)}"
    fix = "Is it the right file? Recordings, pictures and the like stay outside of the tables."
    findings.fault(path.name, found, f"up to {_megabytes(most)}", fix)
    return True


def workbook_too_large(path: Path, findings: Findings) -> bool:
    """Add a fault when a workbook is too large, packed or unpacked; its directory is read, no sheet."""
    if too_large(path, findings):
        return True
    try:
        with ZipFile(path) as archive:
            unpacked = sum(member.file_size for member in archive.infolist())
    except (BadZipFile, OSError, ValueError, NotImplementedError):
        return False  # no workbook, which its reader says
    if unpacked <= MOST_UNPACKED_BYTES:
        return False
    found = f"a workbook of {_megabytes(unpacked)} when unpacked"
    fix = "Delete sheets and pictures that are no part of the campaign, and save it again."
    findings.fault(path.name, found, f"up to {_megabytes(MOST_UNPACKED_BYTES)}", fix)
    return True


def check_table_size(file: str, header: Sequence[str], rows: int, findings: Findings) -> bool:
    """Add a fault when a table has too many rows or columns, or a column too long a name; true when none."""
    columns = len(header)
    if rows > MOST_ROWS:
        fix = "Is it the right file? One row is one test, not one reading of a recording."
        findings.fault(file, f"{rows:,} rows", f"up to {MOST_ROWS:,} rows", fix)
    if columns > MOST_COLUMNS:
        fix = "Delete the columns that are not needed."
        findings.fault(file, f"{columns:,} columns", f"up to {MOST_COLUMNS:,} columns", fix)
    long = [name for name in header if len(name) > MOST_LABEL_CHARACTERS]
    for name in long[:1]:
        found = f"{shorten(name)}, a column's name of {len(name):,} characters"
        allowed, fix = f"up to {MOST_LABEL_CHARACTERS} characters", "Give the column a shorter name."
        findings.fault(file, found, allowed, fix)
    return rows <= MOST_ROWS and columns <= MOST_COLUMNS and not long


def _megabytes(size: int) -> str:
    return f"{size / 1e6:,.0f} MB"

"""The files of a campaign: which are there, which ought to be, which cannot be read."""

from collections.abc import Sequence
from pathlib import Path

from holdcast.campaign.checks.collected import Findings, nearest, shorten
from holdcast.campaign.columns.known_columns import REQUIRED_FILES
from holdcast.campaign.files.limits import too_large
from holdcast.campaign.files.workbook import OTHER_WORKBOOKS, WORKBOOK, workbook_files

__all__ = ["read_files"]


def read_files(folder: Path, names: Sequence[str], findings: Findings) -> dict[str, bytes]:
    """Read the bytes of each file of a campaign that is there.

    Parameters
    ----------
    folder : Path
        The campaign: a folder, or a workbook whose sheets stand for the files.
    names : sequence of str
        Names that a campaign may hold; others in the folder are left alone, near misses are faults.
    findings : Findings
        What is missing or cannot be read is added here.

    Returns
    -------
    dict of str to bytes
        The content of each file that could be read.
    """
    if folder.suffix.casefold() == WORKBOOK and folder.is_file():
        return workbook_files(folder, names, findings)
    present = _names_in(folder, findings)
    if present is None:
        return {}
    likely = _report_near_misses(present, names, findings)
    for name in REQUIRED_FILES:
        if name not in present and name not in likely:
            fix = (
                f"Write {name} into the folder; an empty campaign with a guide can be made by 'holdcast new'."
            )
            findings.fault(name, "no such file", "", fix)
    contents: dict[str, bytes] = {}
    for name in names:
        if name in present:
            content = _content(folder / name, findings)
            if content is not None:
                contents[name] = content
    return contents


def _names_in(folder: Path, findings: Findings) -> list[str] | None:
    """Return the sorted names in the folder, or None with a fault when it is no readable folder."""
    name = folder.name or str(folder)
    try:
        if folder.suffix.casefold() in OTHER_WORKBOOKS and not folder.is_dir():
            fix = f"Save it as {WORKBOOK}, or each sheet as a CSV file of the sheet's name into one folder."
            findings.fault(name, "a workbook of another kind", f"a folder of CSV files, or {WORKBOOK}", fix)
        elif not folder.exists():
            fix = "Check the spelling of the path and the folder it starts from."
            findings.fault(name, f"no such folder ({shorten(str(folder), 200)})", "a campaign folder", fix)
        elif not folder.is_dir():
            fix = "Give the folder that the file lies in."
            findings.fault(name, "a file", f"a folder of CSV files, or {WORKBOOK}", fix)
        else:
            return sorted(entry.name for entry in folder.iterdir())
    except (OSError, ValueError) as error:
        _report_unreadable(name, error, findings)
    return None


def _content(path: Path, findings: Findings) -> bytes | None:
    try:
        if path.is_dir():
            fix = "A folder has this name: rename it, and put the file in its place."
            findings.fault(path.name, "a folder", "a file", fix)
            return None
        if not path.is_file():  # a pipe or a broken link; reading it might wait for ever
            findings.fault(path.name, "no ordinary file", "a file", "Put the file itself into the folder.")
            return None
        return None if too_large(path, findings) else path.read_bytes()
    except OSError as error:
        _report_unreadable(path.name, error, findings)
        return None


def _report_unreadable(name: str, error: OSError | ValueError, findings: Findings) -> None:
    reason = getattr(error, "strerror", None) or str(error)
    fix = "Close programs that have it open, and check that you may read it."
    findings.fault(name, f"cannot be read ({reason.lower()})", "", fix)


def _report_near_misses(present: list[str], names: Sequence[str], findings: Findings) -> set[str]:
    """Add a fault for each file whose name is nearly a campaign file's, and return the names meant."""
    meant: set[str] = set()
    absent = [name for name in names if name not in present]
    for name in present:
        likely = nearest(name, absent, 0.85) if name not in names else ""
        if likely:
            meant.add(likely)
            findings.fault(name, "a file of nearly the right name", likely, f"Rename it to {likely}.")
    return meant

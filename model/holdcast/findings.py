"""Faults and doubts about a campaign's files; beneath all rooms, free of libraries, so that help is quick."""

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["ROWS_TOLD", "CampaignError", "Finding", "one_of_each_kind", "row_runs"]

ROWS_TOLD = 6
"""Rows, or runs of rows, of a doubt that are told one by one; of more only how many there are."""


@dataclass(frozen=True)
class Finding:
    """One fault or doubt about a campaign's files.

    Parameters
    ----------
    severity : {"fault", "doubt"}
        A fault stops the reading; a doubt is shown and the reading goes on.
    file : str
        Name of the file, such as ``"trials.csv"``.
    row : int or None
        Row as a spreadsheet shows it (the header is row 1); None when it concerns the whole file.
    column : str
        Column's name as written in the file; empty when it is not about one column.
    found : str
        What stands there, shortened.
    allowed : str
        What may stand there.
    fix : str
        The likely remedy, as a sentence.
    """

    severity: str
    file: str
    row: int | None
    column: str
    found: str
    allowed: str
    fix: str

    def __str__(self) -> str:
        """Return the finding as one line of text."""
        row = "" if self.row is None else f", row {self.row}"
        column = f", column {self.column}" if self.column else ""
        allowed = f" Allowed: {self.allowed}." if self.allowed else ""
        return f"{self.severity}: {self.file}{row}{column}: {self.found}.{allowed} {self.fix}"


class CampaignError(Exception):
    """A campaign that cannot be used as it stands.

    Parameters
    ----------
    findings : sequence of Finding
        Every fault and doubt of every file, faults and doubts together in the order of the files.
    """

    def __init__(self, findings: Sequence[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__(str(self))

    def __str__(self) -> str:
        """Return a count of the faults, then one line for each finding."""
        faults = sum(finding.severity == "fault" for finding in self.findings)
        head = f"the campaign has {faults} fault{'' if faults == 1 else 's'}"
        return "\n".join([head, *map(str, self.findings)])


def one_of_each_kind(findings: Sequence[Finding]) -> list[tuple[Finding, str]]:
    """Return findings that differ in nothing but their row once, with all their rows as text.

    Parameters
    ----------
    findings : sequence of Finding
        In the order of reading; each kind stands where its first one stood.

    Returns
    -------
    list of (Finding, str)
        The first of each kind, and rows such as ``24``, ``7-9, 24`` or ``3, 5, 8, 11, 14, 17 and 165 more``;
        an empty text where the finding concerns a whole file.  Rows of a fault, which must be mended, are all
        told.
    """
    kinds: dict[tuple[str, ...], list[Finding]] = {}
    for finding in findings:
        kind = (finding.severity, finding.file, finding.column, finding.found, finding.allowed, finding.fix)
        kinds.setdefault(kind, []).append(finding)
    return [(same[0], _rows(same)) for same in kinds.values()]


def _rows(same: Sequence[Finding]) -> str:
    rows = [finding.row for finding in same if finding.row is not None]
    return row_runs(rows, None if same[0].severity == "fault" else ROWS_TOLD)


def row_runs(rows: Sequence[int], most: int | None = None) -> str:
    """Return row numbers as text, neighbours as runs: ``7-9, 24``; beyond `most` runs only their number."""
    runs: list[list[int]] = []
    for row in sorted(set(rows)):
        if runs and row == runs[-1][1] + 1:
            runs[-1][1] = row
        else:
            runs.append([row, row])
    listed, counted = runs[:most], runs[len(runs[:most]) :]
    text = ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in listed)
    more = sum(last - first + 1 for first, last in counted)
    return f"{text} and {more:,} more" if more else text

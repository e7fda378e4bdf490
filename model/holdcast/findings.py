"""Faults and doubts about a campaign's files; beneath all rooms, free of libraries, so that help is quick."""

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["CampaignError", "Finding"]


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

"""Collecting faults and doubts, and keeping a flood of them readable."""

from collections import Counter
from collections.abc import Iterable, Sequence
from difflib import get_close_matches

from holdcast.campaign.records import Finding

__all__ = ["MOST_SHOWN", "Findings", "nearest", "shorten"]

MOST_SHOWN = 200  # faults (and as many doubts) that a person is asked to read at once


def shorten(text: str, length: int = 40) -> str:
    """Return the text in quotes, on one line, control characters spelt out, cut to `length`."""
    cut = text if len(text) <= length else text[: length - 1] + "…"
    return repr(cut)


def nearest(word: str, words: Iterable[str], cutoff: float = 0.6) -> str:
    """Return the known word most like `word`, ignoring case, or an empty string when none is like it."""
    by_case = {name.casefold(): name for name in words}
    close = get_close_matches(word.casefold(), by_case, n=1, cutoff=cutoff)
    return by_case[close[0]] if close else ""


class Findings:
    """Faults and doubts of one reading, in the order found; more than can be shown are only counted."""

    def __init__(self) -> None:
        self._kept: list[Finding] = []
        self._only_counted: Counter[str] = Counter()

    def fault(
        self, file: str, found: str, allowed: str, fix: str, *, row: int | None = None, column: str = ""
    ) -> None:
        """Keep a fault."""
        self._kept.append(Finding("fault", file, row, column, found, allowed, fix))

    def doubt(
        self, file: str, found: str, allowed: str, fix: str, *, row: int | None = None, column: str = ""
    ) -> None:
        """Keep a doubt."""
        self._kept.append(Finding("doubt", file, row, column, found, allowed, fix))

    def count_more(self, severity: str, number: int) -> None:
        """Count findings that are not kept one by one."""
        self._only_counted[severity] += number

    @property
    def any_fault(self) -> bool:
        """Whether a fault was found."""
        return self._only_counted["fault"] > 0 or any(f.severity == "fault" for f in self._kept)

    def shown(self, files: Sequence[str]) -> tuple[Finding, ...]:
        """Return the findings to show: by file and row, at most `MOST_SHOWN` of a severity and a count.

        Parameters
        ----------
        files : sequence of str
            File names in the order to show them; others follow.
        """
        order = {file: place for place, file in enumerate(files)}
        shortlist: list[Finding] = []
        for severity in ("fault", "doubt"):
            of_severity = [f for f in self._kept if f.severity == severity]
            readable = _spread(of_severity, MOST_SHOWN)
            shortlist += sorted(readable, key=lambda f: (order.get(f.file, len(order)), f.row or 0))
            hidden = len(of_severity) - len(readable) + self._only_counted[severity]
            if hidden:
                shortlist.append(_more(severity, hidden))
        return tuple(shortlist)


def _spread(findings: list[Finding], most: int) -> list[Finding]:
    """Choose at most `most`, so that no file's or column's flood hides another's only finding."""
    if len(findings) <= most:
        return findings
    seen: Counter[tuple[str, str, str]] = Counter()
    ranked: list[tuple[int, Finding]] = []
    for finding in findings:
        key = (finding.file, finding.column, finding.fix)
        ranked.append((seen[key], finding))
        seen[key] += 1
    ranked.sort(key=lambda pair: pair[0])
    return [finding for _, finding in ranked[:most]]


def _more(severity: str, number: int) -> Finding:
    found = f"{number:,} more {severity}{'' if number == 1 else 's'} not shown"
    return Finding(severity, "all files", None, "", found, "", "Mend those shown first, then read again.")

"""Faults and doubts of a campaign as plain text. Standard library only, so that a check stays quick."""

from collections.abc import Sequence

from holdcast.findings import Finding, one_of_each_kind
from holdcast.show.text.text_columns import column_widths, pad, plain, rows_of_cells, terminal_width, wrap

__all__ = ["findings_table"]

_HEADER = ("file", "row", "column", "found", "allowed", "likely fix")
_TABLE_NEEDS = 80  # below this six columns of text turn into ladders of single words
_ROW_COLUMN = frozenset({1})
_SAID_ONCE = 3
"""From so many files on, what is the same of all of them is said once."""


def findings_table(findings: Sequence[Finding], width: int | None = None) -> str:
    """Return faults, then doubts, as plain aligned text with a count in the first line.

    Parameters
    ----------
    findings : sequence of Finding
        In the order in which they are to be read within their severity.
    width : int, optional
        Width of a line in terminal columns; by default the terminal's. From 80 columns on the findings
        stand in a table, unless long sentences would make it the longer form; else, as on a phone, each is a
        small block of lines.  Findings that differ in their row alone are told once, with all their rows;
        those that say the same of three files or more stand first, as one sentence with its places.

    Returns
    -------
    str
        Ends without a newline.

    Raises
    ------
    ValueError
        When a finding is neither a fault nor a doubt, or ``width`` is below 24.
    """
    width = terminal_width() if width is None else width
    if width < 24:
        raise ValueError(f"a findings table needs at least 24 columns, got {width}")
    unknown = sorted({finding.severity for finding in findings} - {"fault", "doubt"})
    if unknown:
        raise ValueError(f"severity is 'fault' or 'doubt', got {', '.join(map(repr, unknown))}")
    parts = [_count_line(findings)]
    for severity, heading in (("fault", "FAULTS"), ("doubt", "DOUBTS")):
        of_severity = [finding for finding in findings if finding.severity == severity]
        if of_severity:
            repeated, others = _told_apart(of_severity)
            parts += ["", heading, *_said_once(repeated, width)]
            if repeated and others:
                parts.append("")
            if others:
                parts += _table_or_blocks(others, width)
    return "\n".join(parts)


def _table_or_blocks(findings: Sequence[Finding], width: int) -> list[str]:
    """Return a table; blocks where it has no room, or where its columns would be taller than they are."""
    blocks = _blocks(findings, width)
    if width < _TABLE_NEEDS:
        return blocks
    table = _table(findings, width)
    return table if len(table) <= len(blocks) else blocks


def _count_line(findings: Sequence[Finding]) -> str:
    faults = sum(finding.severity == "fault" for finding in findings)
    text = f"{_count(faults, 'fault')}, {_count(len(findings) - faults, 'doubt')}."
    return text[0].upper() + text[1:]


def _count(number: int, noun: str) -> str:
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


def _told_apart(findings: Sequence[Finding]) -> tuple[dict[tuple[str, str], list[Finding]], list[Finding]]:
    """Return findings that say the same of several files, by what they say, and the others."""
    by_words: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        by_words.setdefault((finding.allowed, finding.fix), []).append(finding)
    repeated = {
        said: same for said, same in by_words.items() if len({finding.file for finding in same}) >= _SAID_ONCE
    }
    return repeated, [each for each in findings if (each.allowed, each.fix) not in repeated]


def _said_once(repeated: dict[tuple[str, str], list[Finding]], width: int) -> list[str]:
    """Return what is said of several files once, with the places it is said of."""
    lines: list[str] = []
    for (allowed, fix), same in repeated.items():
        places = [
            f"{finding.file}{f' row {rows}' if rows else ''}: {finding.found.strip() or '(blank)'}"
            for finding, rows in one_of_each_kind(same)
        ]
        sentence = f"{fix} Allowed: {allowed}." if allowed else fix
        lines += [*wrap(plain(sentence), width)]
        lines += [f"  {line}" for line in wrap(plain("; ".join(places)), width - 2)]
    return lines


def _texts(finding: Finding, rows: str) -> tuple[str, ...]:
    """One finding's six texts, escaped; a blank cell is named, or nobody would see what was found."""
    value = finding.found.strip() or "(blank)"
    texts = (finding.file, rows, finding.column, value, finding.allowed, finding.fix)
    return tuple(map(plain, texts))


def _table(findings: Sequence[Finding], width: int) -> list[str]:
    cells = [_HEADER, *(_texts(*kind) for kind in one_of_each_kind(findings))]
    return rows_of_cells(cells, column_widths(cells, width), right=_ROW_COLUMN)


def _blocks(findings: Sequence[Finding], width: int) -> list[str]:
    lines: list[str] = []
    for kind in one_of_each_kind(findings):
        file, rows, column, *texts = _texts(*kind)
        several = "" if rows.isdigit() else "s"
        place = ", ".join(part for part in (file, f"row{several} {rows}" if rows else "", column) if part)
        lines += wrap(place, width)
        for label, text in zip(("found", "allowed", "fix"), texts, strict=True):
            first, *continuation = wrap(text, width - 11)
            lines += [f"  {pad(label, 7)}  {first}", *(f"{'':11}{line}" for line in continuation)]
    return lines

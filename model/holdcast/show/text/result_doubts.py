"""Doubts about results, and pulls to look at again, as plain text."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from holdcast.campaign.records import gathered_by_cell
from holdcast.show.text.numbers import format_load, load_unit
from holdcast.show.text.plain_table import plain_table
from holdcast.show.text.text_columns import plain, terminal_width, wrap

if TYPE_CHECKING:
    from holdcast.answers.doubts.result_doubt import ResultDoubt
    from holdcast.campaign.records import PullToCheck

__all__ = [
    "MOST_PULLS",
    "PULLS_TO_CHECK",
    "PULLS_TO_CHECK_MEANING",
    "pull_to_check_cells",
    "pulls_to_check_header",
    "pulls_to_check_rows",
    "pulls_to_check_short",
    "pulls_to_check_table",
    "result_doubt_lines",
]

PULLS_TO_CHECK = "Pulls to look at again"
"""The heading of the list, wherever it stands."""
PULLS_TO_CHECK_MEANING = (
    "Repeat each pull, correct it, or keep it if it is right. All of them count. Leave none out for being "
    "odd: that bends the answers. Expected: where nine in ten such pulls lie, by the rest of the log."
)
_NAMED = 3
_SHORT = 3
MOST_PULLS = 12
"""Rows of the list on a screen, and of those that stand open on the page."""


def result_doubt_lines(doubts: "Sequence[ResultDoubt]", width: int | None = None) -> list[str]:
    """Return each doubt as a few lines: what it is about, then the reason and the advice below."""
    room = terminal_width() if width is None else width
    lines = ["", "About the capacities that came out of the fit:"] if doubts else []
    for doubt in doubts:
        lines += wrap(plain(doubt.about), room)
        reasons = " ".join(_sentence(plain(text)) for text in doubt[1:] if text)
        lines += [f"  {line}" for line in wrap(reasons, room - 2)]
    return lines


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:].rstrip('.')}."


def pulls_to_check_short(
    pulls: "Sequence[PullToCheck]", units: str, file: str, width: int | None = None
) -> list[str]:
    """Return the first few pulls to look at again and the file that has all; no line when there is none."""
    if not pulls:
        return []
    room = terminal_width() if width is None else width
    heading = f"{PULLS_TO_CHECK}: {pulls[0].advice} each; none is left out for being odd."
    lines = ["", *wrap(heading, room)]
    rows = gathered_by_cell(pulls)
    for pull in rows[:_SHORT]:
        trial, where, load, expected, reason = pull_to_check_cells(pull, units)
        unit = load_unit(units)
        loads = f", {load} {unit}" if load else ""
        wanted = f" (expected {expected} {unit})" if expected else ""
        first, *more = wrap(f"{trial}, {where}{loads}{wanted}: {reason}.", room - 2)
        lines += [f"  {first}", *(f"    {line}" for line in more)]
    beyond = len(rows) - _SHORT
    return [*lines, f"  {f'And {beyond} more' if beyond > 0 else 'Also'} in {file}"]


def pulls_to_check_table(
    pulls: "Sequence[PullToCheck]", units: str, file: str, width: int | None = None
) -> list[str]:
    """Return the pulls to look at again as a table under its heading, a dozen at most.

    Many of one cell stand in one row; the file that has all of them is named below where some are left out.
    """
    room = terminal_width() if width is None else width
    if not pulls:
        return [f"{PULLS_TO_CHECK}: none."]
    gathered = gathered_by_cell(pulls)
    rows = [pull_to_check_cells(pull, units) for pull in gathered[:MOST_PULLS]]
    table = plain_table(pulls_to_check_header(units), rows, width=room)
    beyond = len(gathered) - MOST_PULLS
    more = [f"And {beyond} more in {file}"] if beyond > 0 else []
    return [PULLS_TO_CHECK, *table, *wrap(PULLS_TO_CHECK_MEANING, room), *more]


def pulls_to_check_header(units: str) -> list[str]:
    """Return the headings of the columns of :func:`pull_to_check_cells`."""
    unit = load_unit(units)
    return ["trial", "anchor in seabed", f"read [{unit}]", f"expected [{unit}]", "why"]


def pull_to_check_cells(pull: "PullToCheck", units: str) -> list[str]:
    """Return one pull to look at again as text: trials, cell, load read, 90% range expected, reason."""
    more = len(pull.trials) - _NAMED
    trials = ", ".join(pull.trials[:_NAMED]) + (f" and {more} more" if more > 0 else "")
    ends = (pull.expected_low_n, pull.expected_high_n)
    low, high = ("" if math.isnan(end) else format_load(end, units) for end in ends)
    expected = f"{low} to {high}" if low and high else f"above {low}" if low else ""
    texts = (trials, f"{pull.anchor} in {pull.seabed}", _load(pull, units), expected, pull.reason)
    return [plain(text) for text in texts]


def pulls_to_check_rows(pulls: "Sequence[PullToCheck]") -> list[dict[str, object]]:
    """Return one row a pull for the file and for machines; loads in N, unknown ones blank."""
    return [
        {
            "trials": " ".join(pull.trials),
            "anchor": pull.anchor,
            "seabed": pull.seabed,
            **{
                name: value if math.isfinite(value) else None
                for name, value in (
                    ("held_n", pull.held_n),
                    ("released_n", pull.released_n),
                    ("expected_n_q05", pull.expected_low_n),
                    ("expected_n_q95", pull.expected_high_n),
                )
            },
            "reason": pull.reason,
            "advice": pull.advice,
        }
        for pull in pulls
    ]


def _load(pull: "PullToCheck", units: str) -> str:
    """Return what was read: both ends, or the one there is; blank where no load was read."""
    held, released = pull.held_n, pull.released_n
    if math.isfinite(released):
        let_go = format_load(released, units)
        if held <= 0.0:
            return f"slid at {let_go}"
        return let_go if held == released else f"{format_load(held, units)} to {let_go}"
    return f"held {format_load(held, units)}" if held > 0.0 else ""

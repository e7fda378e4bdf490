"""Doubts about results as plain text."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from holdcast.show.text.layout import plain, terminal_width, wrap

if TYPE_CHECKING:
    from holdcast.answers.doubts.result_doubt import ResultDoubt

__all__ = ["result_doubt_lines"]


def result_doubt_lines(doubts: "Sequence[ResultDoubt]", width: int | None = None) -> list[str]:
    """Return each doubt as a few lines: what it is about, then the reason and the advice below."""
    room = terminal_width() if width is None else width
    lines = ["", "About the capacities that came out of the fit:"] if doubts else []
    for doubt in doubts:
        lines += wrap(plain(doubt.about), room)
        lines += [f"  {line}" for text in doubt[1:] for line in wrap(plain(text), room - 2)]
    return lines

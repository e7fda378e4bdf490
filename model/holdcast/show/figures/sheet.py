"""A picture as data: rows, bands and words, before anything is drawn."""

from collections.abc import Sequence
from typing import NamedTuple

__all__ = ["Mark", "Panel", "Sheet"]


class Mark(NamedTuple):
    """One band: ends of line and bar and the dot (None: not drawn); hollow when not filled."""

    low: float
    high: float
    middle: float | None = None
    lower: float | None = None
    upper: float | None = None
    filled: bool = True


class Panel(NamedTuple):
    """One panel: its title and, in the order of the sheet's rows, the marks and the note of each row."""

    title: str
    marks: Sequence[Sequence[Mark]]
    notes: Sequence[str]


class Sheet(NamedTuple):
    """The whole picture; ``headings`` groups the rows, ``reference`` is a value to compare with."""

    title: str
    reading: Sequence[str]
    headings: Sequence[str]
    names: Sequence[str]
    panels: Sequence[Panel]
    ticks: Sequence[float]
    limits: tuple[float, float]
    logarithmic: bool
    note_heading: str
    foot: Sequence[str]
    reference: float | None = None
    reliable: bool = True
    note_width: float = 0.55
    most_columns: int = 4

"""A picture as data: rows, bands and words, before anything is drawn."""

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

__all__ = ["TESTED_KEY", "Mark", "Panel", "PictureSize", "Sheet"]


class PictureSize(StrEnum):
    """Shapes that films and web pages want: 16:9, 1:1 and 9:16."""

    WIDE = "wide"
    SQUARE = "square"
    PHONE = "phone"


TESTED_KEY: tuple[tuple[bool | None, str], ...] = (
    (True, "tested: pulled here"),
    (False, "untested: predicted, nobody pulled"),
)
"""The key of every picture that tells tested and untested anchors apart."""


class Mark(NamedTuple):
    """One band: ends of line and bar and the dot (None: not drawn); hollow when not filled.

    ``shape`` of the dot: ``dot``, ``triangle`` or ``cross``, so that what it says is seen in grey.
    ``strokes``: values that stand as short strokes above the line.
    """

    low: float
    high: float
    middle: float | None = None
    lower: float | None = None
    upper: float | None = None
    filled: bool = True
    shape: str = "dot"
    strokes: Sequence[float] = ()


class Panel(NamedTuple):
    """One panel: its title and, in the order of the sheet's rows, the marks and the note of each row."""

    title: str
    marks: Sequence[Sequence[Mark]]
    notes: Sequence[str]
    subtitle: str = ""


class Sheet(NamedTuple):
    """The whole picture.

    ``headings`` groups the rows; ``reference`` is a value to compare with.  ``key`` names the kinds of mark:
    filled, hollow, or (None) words alone.  Without ``ticks`` a logarithmic axis gets round numbers, as many
    as fit.  ``order`` says in what order the rows stand; the last text of ``foot`` says where it all comes
    from.  ``note_width`` and, in a picture of a fixed shape, ``least_panel`` are inches.
    """

    title: str
    reading: Sequence[str]
    headings: Sequence[str]
    names: Sequence[str]
    panels: Sequence[Panel]
    limits: tuple[float, float]
    logarithmic: bool
    note_heading: str
    foot: Sequence[str]
    ticks: Sequence[float] = ()
    reference: float | None = None
    reliable: bool = True
    note_width: float = 0.55
    least_panel: float = 0.95
    most_columns: int = 4
    subtitle: str = ""
    key: Sequence[tuple[bool | None, str]] = ()
    order: str = ""

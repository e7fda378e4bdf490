"""Where things stand in a picture: paper, rows, panels, ticks. Arithmetic only, no drawing."""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

from holdcast.show.figures.sheet import PictureSize
from holdcast.show.text.cell_rows import words
from holdcast.show.text.text_columns import plain, wrap

__all__ = [
    "LINE_PITCH",
    "MARGIN",
    "PNG_DPI",
    "Format",
    "Line",
    "Row",
    "even_ticks",
    "evenly",
    "height_of",
    "label_rows",
    "load_ticks",
    "panel_grid",
    "wrap_to",
]

MARGIN = 0.18
"""Inches, all around."""

PNG_DPI = 200
"""Of a picture that is as tall as what stands on it."""

LINE_PITCH = 1.4
"""Distance of two lines over the size of the letters."""


class Format(NamedTuple):
    """A paper: width, row pitch and widest name [inches], panels across, sizes of letters [points].

    A paper of a fixed ``height`` [inches] holds what fits; another is as tall as what stands on it.
    """

    width: float
    most_columns: int
    row_pitch: float
    widest_name: float
    points: float
    title_points: float
    height: float | None = None
    dpi: int = PNG_DPI

    @classmethod
    def wide(cls, most_columns: int = 4) -> "Format":
        """For a desktop page or paper: panels side by side."""
        return cls(11.0, most_columns, 0.168, 3.0, 8.5, 15.0)

    @classmethod
    def narrow(cls, most_columns: int = 1) -> "Format":
        """For a phone, about 390 CSS pixels wide."""
        return cls(3.7, most_columns, 0.185, 1.3, 8.0, 12.0)

    @classmethod
    def fixed(cls, size: PictureSize) -> "Format":
        """For a film or a web page: 1920 × 1080, 1080 × 1080 or 1080 × 1920 pixels as PNG.

        Letters are of 6.5 points and more, of 7 in the square; rows are 0.115 inches high and more.
        """
        return {
            PictureSize.WIDE: cls(7.68, 6, 0.122, 1.6, 7.5, 13.0, 4.32, 250),
            PictureSize.SQUARE: cls(4.8, 6, 0.122, 1.4, 8.0, 12.0, 4.8, 225),
            PictureSize.PHONE: cls(3.6, 6, 0.115, 1.2, 7.5, 12.0, 6.4, 300),
        }[size]

    @property
    def small_points(self) -> float:
        """Size of the letters of what stands above and below the panels [points]."""
        return self.points if self.height is None else self.points - 0.5

    @property
    def note_points(self) -> float:
        """Size of the letters to the right of a row [points]."""
        return self.points - 1 if self.height is None else self.small_points

    @property
    def panel_title_points(self) -> tuple[float, float]:
        """Sizes of a panel's title and of what it is about [points]."""
        return (9.5, 8.0) if self.height is None else (self.points + 0.5, self.small_points)

    @property
    def gutter(self) -> float:
        """Room between the notes of a panel and the next one [inches]."""
        return 0.2 if self.height is None else 0.12

    @property
    def heading_rows(self) -> float:
        """How high the name of a group stands above its rows [rows]."""
        return 1.15 if self.height is None else 1.0

    @property
    def sample(self) -> tuple[float, float]:
        """Width of a sample in the key, and the air behind an entry [inches]."""
        return (0.62, 0.35) if self.height is None else (0.45, 0.25)

    @property
    def key_pitch(self) -> float:
        """Distance of two lines of the key [inches]."""
        return 0.2 if self.height is None else 0.15

    @property
    def below(self) -> float:
        """Room below a panel [inches]: for the lower axis, which a paper of a fixed height does without."""
        return 0.4 if self.height is None else 0.1

    @property
    def is_narrow(self) -> bool:
        """Whether it is for a phone."""
        return self.width < 5.0

    @property
    def room(self) -> float:
        """Width between the margins [inches]."""
        return self.width - 2 * MARGIN


class Line(NamedTuple):
    """One line of text as it will be written."""

    text: str
    points: float
    weight: str
    colour: str


class Row(NamedTuple):
    """One line of a panel: a group's name as heading, or a named row with its position."""

    text: str
    place: int | None
    top: float
    height: float

    @property
    def centre(self) -> float:
        """Vertical middle, in rows from the top."""
        return self.top + self.height / 2


def height_of(lines: Sequence[Line]) -> float:
    """Return the height of lines of text below each other [inches]."""
    return sum(line.points * LINE_PITCH / 72 for line in lines)


def evenly(number: int, most: int) -> list[slice]:
    """Return as few runs of at most so many as hold a number, all about equally long."""
    parts = max(math.ceil(number / most), 1)
    ends = [round(number * part / parts) for part in range(parts + 1)]
    return [slice(first, last) for first, last in pairwise(ends)]


def panel_grid(panels: int, most_columns: int) -> tuple[int, int]:
    """Return rows and columns of panels, as evenly filled as they go."""
    rows = max(math.ceil(panels / most_columns), 1)
    return rows, max(math.ceil(panels / rows), 1)


def label_rows(
    headings: Sequence[str],
    names: Sequence[str],
    lines_of: Callable[[str], list[str]],
    heading_rows: float = 1.15,
) -> list[Row]:
    """Lay names below each other, each group under its heading; a name of several lines gets a taller row.

    Parameters
    ----------
    headings, names : sequence of str
        One entry a row, in the order in which they are shown; a blank heading is none.
    lines_of : callable
        Breaks a name into lines that fit the name column.
    heading_rows : float
        How high a heading is [rows].
    """
    rows: list[Row] = []
    top, last = 0.0, None
    for place, (heading, name) in enumerate(zip(headings, names, strict=True)):
        if heading != last:
            rows.append(Row(plain(words(heading)), None, top, heading_rows))
            top, last = top + heading_rows, heading
        lines = lines_of(plain(name))
        height = max(1.0, 0.9 * len(lines) + 0.1)
        rows.append(Row("\n".join(lines), place, top, height))
        top += height
    return rows


def wrap_to(text: str, room: float, measure: Callable[[str], float]) -> list[str]:
    """Break a text into lines none of which measures more than ``room``, as far as letters allow.

    Parameters
    ----------
    text : str
    room : float
        Width of a line, in the unit of ``measure``.
    measure : callable
        Width of a piece of text.
    """
    if measure(text) <= room:
        return [text]
    fit = max(int(len(text) * room / measure(text) * 1.15), 2)
    while fit > 2 and max(map(measure, wrap(text, fit))) > room:
        fit -= 1
    return wrap(text, fit)


def load_ticks(low: float, high: float, most: int) -> list[float]:
    """Return round numbers within the limits of a log axis: 1-2-5, or 1-3, or powers of ten.

    Parameters
    ----------
    low, high : float
        Limits of the axis, positive, in the unit shown.
    most : int
        How many labels fit beside each other.
    """
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for steps in ((1, 2, 5), (1, 3), (1,)):
        ticks = [step * 10.0**decade for decade in decades for step in steps]
        ticks = [tick for tick in ticks if low <= tick <= high]
        if len(ticks) <= most:
            break
    return ticks


def even_ticks(low: float, high: float) -> list[float]:
    """Return round numbers at even steps, five at most."""
    steps = (size * 10.0**power for power in range(-9, 10) for size in (1.0, 2.0, 5.0))
    step = next(size for size in steps if (high - low) / size <= 4.0)
    return [float(f"{step * count:.6g}") for count in range(math.ceil(low / step), int(high // step) + 1)]

"""Where things stand in the capacity figure: pages, rows, panels, ticks. Arithmetic only, no drawing."""

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from holdcast.show.text.cell_rows import name_order, words
from holdcast.show.text.layout import plain, wrap

__all__ = ["Row", "Shape", "anchor_pages", "label_rows", "load_limits", "load_ticks", "panel_grid", "wrap_to"]

_ANCHORS_A_PAGE = 45  # rows of a printed page that stay readable


class Shape(NamedTuple):
    """Sizes of one figure, in inches unless said otherwise."""

    width: float
    most_columns: int
    row_pitch: float
    widest_name: float
    pulls_width: float
    name_points: float
    note_points: float
    title_points: float

    @classmethod
    def wide(cls) -> "Shape":
        """For a desktop page or paper: panels side by side."""
        return cls(11.0, 4, 0.165, 3.0, 0.58, 8.5, 8.5, 15)

    @classmethod
    def narrow(cls) -> "Shape":
        """For a phone, about 390 CSS pixels wide: one tall column."""
        return cls(3.7, 1, 0.185, 1.3, 0.55, 8.5, 8.0, 12)


class Row(NamedTuple):
    """One line of a panel: a form's name as heading, or an anchor."""

    text: str
    anchor: str | None
    top: float
    height: float

    @property
    def centre(self) -> float:
        """Vertical middle, in rows from the top."""
        return self.top + self.height / 2


def anchor_pages(cells: xr.Dataset) -> list[xr.Dataset]:
    """Split the cells into pages of about equally many anchors, in order of form and name.

    Parameters
    ----------
    cells : xarray.Dataset
        With dim ``anchor`` and coordinate ``form(anchor)``.
    """
    keys = [
        (form, name_order(str(anchor)))
        for form, anchor in zip(cells["form"].to_numpy(), cells["anchor"].to_numpy(), strict=True)
    ]
    order = sorted(range(len(keys)), key=keys.__getitem__)
    pages = math.ceil(len(order) / _ANCHORS_A_PAGE)
    return [cells.isel(anchor=part) for part in np.array_split(np.array(order), pages)]


def panel_grid(seabeds: int, most_columns: int) -> tuple[int, int]:
    """Return rows and columns of panels, as evenly filled as they go."""
    rows = math.ceil(seabeds / most_columns)
    return rows, math.ceil(seabeds / rows)


def label_rows(
    forms: Sequence[str], anchors: Sequence[str], lines_of: Callable[[str], list[str]]
) -> list[Row]:
    """Lay anchors below each other, each form under its heading; a name of several lines gets a taller row.

    Parameters
    ----------
    forms, anchors : sequence of str
        One entry per anchor, in the order in which they are shown.
    lines_of : callable
        Breaks a name into lines that fit the name column.
    """
    rows: list[Row] = []
    top, last_form = 0.0, None
    for form, anchor in zip(forms, anchors, strict=True):
        if form != last_form:
            rows.append(Row(plain(words(form)), None, top, 1.15))
            top, last_form = top + 1.15, form
        lines = lines_of(plain(anchor))
        height = max(1.0, 0.9 * len(lines) + 0.1)
        rows.append(Row("\n".join(lines), anchor, top, height))
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


def load_limits(cells: xr.Dataset) -> tuple[float, float]:
    """Return the lowest and highest end of any 90% band with a little air [N]."""
    capacity = cells["capacity_n"].sel(quantile=[0.05, 0.95], method="nearest")
    return float(capacity.min()) / 1.12, float(capacity.max()) * 1.12


def load_ticks(low: float, high: float, most: int) -> list[float]:
    """Return round loads within the limits for a log axis: 1-2-5, or 1-3, or powers of ten, at most ``most``.

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

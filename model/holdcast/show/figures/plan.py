"""What the capacity figure says and how much room it takes: everything measured before anything is drawn."""

from collections.abc import Callable
from typing import NamedTuple

import xarray as xr

from holdcast.show.figures.layout import Row, Shape, label_rows, panel_grid, wrap_to
from holdcast.show.figures.panel import INK, SOFT
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.cell_rows import cell_rows, seabed_label
from holdcast.show.text.layout import plain
from holdcast.show.text.numbers import load_unit
from holdcast.show.text.sentences import ORDER_NOTE, provenance_sentence, verdict_heading

__all__ = ["LINE_PITCH", "MARGIN", "Line", "Plan", "height_of", "plan_figure"]

MARGIN = 0.18
"""Inches, all around."""

LINE_PITCH = 1.4
"""Distance of two lines over the size of the letters."""

Measure = Callable[[str, float, str], float]
"""Width in inches of a text, of letters of so many points, in a weight."""


class Line(NamedTuple):
    """One line of text as it will be written."""

    text: str
    points: float
    weight: str
    colour: str


class Plan(NamedTuple):
    """Everything measured before anything is drawn; lengths in inches."""

    shape: Shape
    head: list[Line]
    key: list[list[tuple[str, str]]]
    rows: list[Row]
    titles: list[list[str]]
    grid: tuple[int, int]
    name_width: float
    panel_width: float
    title_height: float
    body_height: float
    foot: list[Line]


def _broken(
    measure: Measure, text: str, room: float, points: float, weight: str = "normal", colour: str = INK
) -> list[Line]:
    # A drawn text is up to 3% wider than measured, since pixels snap; hence the air.
    lines = wrap_to(text, 0.96 * room, lambda part: measure(part, points, weight))
    return [Line(line, points, weight, colour) for line in lines]


def height_of(lines: list[Line]) -> float:
    """Return the height of lines of text below each other [inches]."""
    return sum(line.points * LINE_PITCH / 72 for line in lines)


def _head(
    measure: Measure, cells: xr.Dataset, units: str, shape: Shape, reliable: bool, part: str
) -> list[Line]:
    room = shape.width - 2 * MARGIN
    mark = [] if reliable else _broken(measure, verdict_heading(False), room, shape.title_points, "bold")
    title = _broken(measure, "Holding capacity in test pulls", room, shape.title_points, "bold")
    campaign = plain(cells.attrs.get("title", ""))
    axis = f"Load at the anchor in {load_unit(units)}, logarithmic scale, the same in every panel."
    axis = f"{axis} {part}".strip()
    lines = mark + title + (_broken(measure, campaign, room, shape.note_points + 1.5) if campaign else [])
    return lines + _broken(measure, axis, room, shape.note_points, colour=SOFT)


def _foot(measure: Measure, cells: xr.Dataset, shape: Shape) -> list[Line]:
    room = shape.width - 2 * MARGIN
    lines = _broken(measure, ORDER_NOTE, room, shape.note_points, "bold")
    lines += _broken(measure, " ".join(CAUTIONS), room, shape.note_points)
    return lines + _broken(measure, provenance_sentence(cells.attrs), room, shape.note_points, colour=SOFT)


def _key(cells: xr.Dataset, shape: Shape) -> list[list[tuple[str, str]]]:
    """Lines of the key: pairs of a kind of sample ("" for none) and its text."""
    entries = [("tested", "tested: pulled here"), ("untested", "untested: predicted, nobody pulled")]
    reading = "dot: median; bar: 50% band; line: 90% band"
    outside = (cells["range"] == "outside").any()
    star = ["*: outside the sizes or strengths tested"] if bool(outside) else []
    if shape.most_columns > 1:
        return [[*entries, ("", "; ".join([reading, *star]))]]
    return [[entry] for entry in (*entries, *(("", text) for text in (reading, *star)))]


def _titles(measure: Measure, cells: xr.Dataset, panel_width: float, pulls_width: float) -> list[list[str]]:
    """Return the lines above each seabed's panel: its name, then its soil and strength."""
    titles = []
    for seabed, soil, strength in zip(
        *(cells[name].to_numpy() for name in ("seabed", "soil", "strength")), strict=True
    ):
        name = _broken(measure, plain(seabed), panel_width + pulls_width - 0.1, 9.5, "bold")
        ground = _broken(measure, seabed_label(plain(soil), plain(strength)), panel_width + 0.3, 8.0)
        titles.append([line.text for line in (*name, *ground)])
    return titles


def plan_figure(
    measure: Measure, cells: xr.Dataset, units: str, shape: Shape, reliable: bool, part: str
) -> Plan:
    """Measure a figure before it is drawn.

    Parameters
    ----------
    measure : callable
        Width in inches of a text, given the size of its letters [points] and its weight.
    cells : xarray.Dataset
        As from ``holdcast.answers.cells.cells``.
    units : {"si", "us"}
    shape : Shape
        Wide or narrow.
    reliable : bool
        When false, the warning is the first thing written.
    part : str
        Which part of the campaign this is; may be blank.
    """
    first = cell_rows(cells.isel(seabed=[0]))
    points = shape.name_points
    rows = label_rows(
        first["form"].tolist(),
        first["anchor"].tolist(),
        lambda name: wrap_to(name, shape.widest_name, lambda part: measure(part, points, "normal")),
    )
    name_width = max(measure(line, points, "normal") for row in rows for line in row.text.split("\n")) + 0.22
    grid = panel_grid(cells.sizes["seabed"], shape.most_columns)
    free = shape.width - 2 * MARGIN - name_width
    panel_width = min(free / grid[1] - shape.pulls_width, 5.0)
    titles = _titles(measure, cells, panel_width, shape.pulls_width)
    title_height = max(map(len, titles)) * 9.0 * LINE_PITCH / 72 + 0.2
    return Plan(
        shape=shape,
        head=_head(measure, cells, units, shape, reliable, part),
        key=_key(cells, shape),
        rows=rows,
        titles=titles,
        grid=grid,
        name_width=name_width,
        panel_width=panel_width,
        title_height=title_height,
        body_height=(rows[-1].top + rows[-1].height) * shape.row_pitch,
        foot=_foot(measure, cells, shape),
    )

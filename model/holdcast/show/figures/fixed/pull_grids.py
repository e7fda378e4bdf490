"""The grid of pulls in pictures of a fixed shape: blocks of rows beside each other, on few pictures."""

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

import pandas as pd

from holdcast.show.figures.paper import (
    foot_lines,
    free_height,
    head_lines,
    inches,
    open_page,
    own_style,
    place_axes,
)
from holdcast.show.figures.picture_measures import LINE_PITCH, MARGIN, Format, evenly, wrap_to
from holdcast.show.figures.pull_grid import READING, TITLE, draw_grid, holes_sentence
from holdcast.show.figures.sheet import PictureSize
from holdcast.show.text.text_columns import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from holdcast.show.figures.picture_measures import Line

__all__ = ["fixed_pull_grids"]

_TALLEST_PITCH, _WIDEST_CELL, _LEAST_CELL = 0.22, 0.9, 0.3
_GAP, _BELOW = 0.25, 0.06
_LONGEST_TURNED = 0.85
"""Of a label that reads from below [inches]; a longer one breaks into lines."""


class _Layout(NamedTuple):
    """Where rows and columns go: their runs, blocks beside each other on a picture, measures in inches."""

    columns: list[slice]
    rows: list[slice]
    across: int
    name_width: float
    cell: float
    above: float
    labels: list[list[str]]
    upright: bool

    @property
    def pages(self) -> int:
        return len(self.columns) * -(-len(self.rows) // self.across)


def fixed_pull_grids(counts: pd.DataFrame, size: PictureSize, title: str = "") -> "list[Figure]":
    """Draw the grid in a fixed shape: seabeds by seabeds, and within these anchors by anchors.

    Parameters
    ----------
    counts : DataFrame
        As from ``holdcast.show.text.pull_grid.pull_counts``.
    size : {"wide", "square", "phone"}
    title : str
        The campaign's.
    """
    form = Format.fixed(size)
    with own_style():
        free = free_height(form, *_head_and_foot(form, counts, title, " (10/10)"))
        # Where labels reading from below save a picture they do; else they read from left to right.
        layouts = [_layout(counts, form, free, upright=upright) for upright in (True, False)]
        layout = min(layouts, key=lambda each: each.pages)
        groups = evenly(len(layout.rows), layout.across)
        places = [(columns, layout.rows[group]) for columns in layout.columns for group in groups]
        figures = []
        for number, (columns, rows) in enumerate(places, start=1):
            part = f" ({number}/{len(places)})" if len(places) > 1 else ""
            figure, begin = open_page(form, *_head_and_foot(form, counts, title, part), 0.0)
            _draw_blocks(figure, counts.iloc[:, columns], layout, columns, rows, (begin, free), form)
            figures.append(figure)
        return figures


def _head_and_foot(
    form: Format, counts: pd.DataFrame, title: str, part: str
) -> "tuple[list[Line], list[Line]]":
    head = head_lines(form, f"{TITLE}{part}", (READING,), reliable=True)
    return head, foot_lines(form, [text for text in (holes_sentence(counts), title) if text])


def _layout(counts: pd.DataFrame, form: Format, free: float, *, upright: bool) -> _Layout:
    names = [plain(name) for name in counts.columns]
    name_width = max(inches(plain(name), form.points) for name in counts.index) + 0.12
    line = form.points * LINE_PITCH / 72

    def width_of(text: str) -> float:
        return inches(text, form.points, "bold")

    def broken(room: float) -> list[list[str]]:
        return [wrap_to(name, room, width_of) for name in names]

    if upright:
        least = max(max(map(width_of, name.split())) for name in names) + 0.1
    else:
        labels = broken(_LONGEST_TURNED)
        least = max(map(len, labels)) * line + 0.08
    least = max(least, _LEAST_CELL)
    columns = evenly(len(names), max(int((form.room - name_width) / least), 1))
    most = max(run.stop - run.start for run in columns)
    across = max(int((form.room + _GAP) / (name_width + most * least + _GAP)), 1)
    for blocks in range(1, across + 1):
        cell = min(((form.room + _GAP) / blocks - _GAP - name_width) / most, _WIDEST_CELL)
        if upright:
            labels = broken(cell - 0.06)
        above = _height_above(labels, line, width_of, upright=upright)
        rows = evenly(len(counts), max(int((free - above - _BELOW) / form.row_pitch), 1))
        if len(rows) <= blocks:
            break
    return _Layout(columns, rows, blocks, name_width, cell, above, labels, upright)


def _height_above(
    labels: list[list[str]], line: float, width_of: Callable[[str], float], *, upright: bool
) -> float:
    if upright:
        return max(map(len, labels)) * line + 0.06
    return max(width_of(text) for label in labels for text in label) + 0.08


def _draw_blocks(
    figure: "Figure",
    counts: pd.DataFrame,
    layout: _Layout,
    columns: slice,
    rows: list[slice],
    room: tuple[float, float],
    form: Format,
) -> None:
    """Draw the blocks of one picture, whose room begins and is so high [inches]."""
    begin, free = room
    tallest = max(run.stop - run.start for run in layout.rows)
    pitch = min((free - layout.above - _BELOW) / tallest, _TALLEST_PITCH)
    width = layout.cell * counts.shape[1]
    for number, run in enumerate(rows):
        left = MARGIN + number * (layout.name_width + width + _GAP) + layout.name_width
        height = (run.stop - run.start) * pitch
        axes = place_axes(figure, left, begin + layout.above, width, height)
        draw_grid(
            *(axes, counts.iloc[run], layout.labels[columns]),
            inches_across=width,
            points=form.points,
            number_points=form.points - 0.5,
            upright=layout.upright,
        )

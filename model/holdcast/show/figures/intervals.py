"""One picture for one question: named rows with bands, on the capacity figure's paper."""

from collections.abc import Sequence
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import numpy as np

from holdcast.show.figures.layout import Row, label_rows, panel_grid, wrap_to
from holdcast.show.figures.panel import BAND, INK, RULE, SOFT, draw_names, mark_unreliable
from holdcast.show.figures.plan import LINE_PITCH, MARGIN, Line, height_of
from holdcast.show.figures.sheet import Mark, Panel, Sheet
from holdcast.show.text.layout import plain
from holdcast.show.text.sentences import verdict_heading

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["Mark", "Panel", "Sheet", "drop_figure", "interval_figure", "save_figure"]

_WIDTH = 11.0
_POINTS = 8.5
_ROW_PITCH = 0.17
_WIDEST_NAME = 2.6


def interval_figure(sheet: Sheet) -> "Figure":
    """Draw a sheet.

    Parameters
    ----------
    sheet : Sheet
        Every number is given; nothing is computed here.

    Returns
    -------
    matplotlib.figure.Figure
        With an Agg canvas of its own; nothing is registered with pyplot.

    Raises
    ------
    ValueError
        When a panel has not one note and one tuple of marks for each row.
    """
    for panel in sheet.panels:
        if not len(panel.marks) == len(panel.notes) == len(sheet.names):
            raise ValueError(f"panel {panel.title!r} needs {len(sheet.names)} rows of marks and notes")
    with _paper().own_style():
        return _draw(sheet)


def save_figure(sheet: Sheet, folder: Path, name: str) -> list[Path]:
    """Write a sheet as ``NAME.svg`` and ``NAME.png``; the same sheet gives the same bytes."""
    written: list[Path] = _paper().write_figure(interval_figure(sheet), folder, name)
    return written


def drop_figure(folder: Path, name: str) -> None:
    """Remove the picture of an earlier answer, where this one has nothing to draw."""
    for suffix in ("svg", "png"):
        (folder / f"{name}.{suffix}").unlink(missing_ok=True)


def _paper() -> ModuleType:
    """Return the module that holds the drawing library; loading it takes time, so only when drawing."""
    from holdcast.show.figures import paper as figure_paper

    return figure_paper


def _inches(text: str, points: float, weight: str = "normal") -> float:
    return float(_paper().inches(text, points, weight))


def _lines(text: str, points: float, weight: str = "normal", colour: str = INK) -> list[Line]:
    lines: list[Line] = _paper().broken_lines(text, _WIDTH, points, weight, colour)
    return lines


def _rows(sheet: Sheet) -> list[Row]:
    """Lay rows below each other, each group under its heading; rows are named by their position."""
    names = list(map(str, range(len(sheet.names))))
    return label_rows(
        list(sheet.headings),
        names,
        lambda place: wrap_to(
            plain(sheet.names[int(place)]), _WIDEST_NAME, lambda part: _inches(part, _POINTS)
        ),
    )


def _draw(sheet: Sheet) -> "Figure":
    head = [] if sheet.reliable else _lines(verdict_heading(False), 15, "bold")
    head += _lines(sheet.title, 15, "bold")
    head += [line for text in sheet.reading for line in _lines(text, 8.5, colour=SOFT)]
    foot = [line for text in sheet.foot for line in _lines(text, 8.5)]
    rows = _rows(sheet)
    name_width = max(_inches(line, _POINTS) for row in rows for line in row.text.split("\n")) + 0.22
    down, across = panel_grid(len(sheet.panels), sheet.most_columns)
    width = min((_WIDTH - 2 * MARGIN - name_width) / across - sheet.note_width - 0.2, 6.5)
    titles = [
        wrap_to(plain(panel.title), width + sheet.note_width, lambda part: _inches(part, 9.5, "bold"))
        for panel in sheet.panels
    ]
    title_height = max(map(len, titles)) * 9.5 * LINE_PITCH / 72 + 0.2
    body = (rows[-1].top + rows[-1].height) * _ROW_PITCH
    panel_height = title_height + body + 0.36
    height = 2 * MARGIN + height_of(head) + 0.12 + down * panel_height + height_of(foot)
    figure: Figure = _paper().blank_figure(_WIDTH, height)
    depth = _paper().write_lines(figure, head, MARGIN) + 0.12
    for number, panel in enumerate(sheet.panels):
        level, column = divmod(number, across)
        left = MARGIN + name_width + column * (width + sheet.note_width + 0.2)
        axes = _paper().place_axes(figure, left, depth + level * panel_height + title_height, width, body)
        _frame(axes, sheet, rows)
        _title(axes, titles[number], body)
        if column == 0:
            draw_names(axes, rows, name_width, width, _POINTS)
        _fill(axes, sheet, panel, rows, width, body)
    _paper().write_lines(figure, foot, depth + down * panel_height)
    return figure


def _frame(axes: "Axes", sheet: Sheet, rows: Sequence[Row]) -> None:
    bottom = rows[-1].top + rows[-1].height
    axes.set_xscale("log" if sheet.logarithmic else "linear")
    axes.set_xlim(*sheet.limits)
    axes.set_ylim(bottom, 0)
    axes.set_yticks([])
    axes.set_xticks(list(sheet.ticks), labels=[f"{tick:g}" for tick in sheet.ticks])
    axes.minorticks_off()
    axes.tick_params(
        axis="x", top=True, labeltop=True, labelsize=7, color=SOFT, labelcolor=SOFT, length=2.5, pad=1.5
    )
    axes.set_facecolor("none")
    for side in ("left", "right"):
        axes.spines[side].set_visible(False)
    for side in ("top", "bottom"):
        axes.spines[side].set(color=SOFT, linewidth=0.6)
    axes.vlines(list(sheet.ticks), 0, bottom, colors=RULE, linewidths=0.6, zorder=0)
    named = [row.centre for row in rows if row.anchor is not None]
    axes.hlines(named, *sheet.limits, colors=RULE, linewidths=0.6, zorder=0)
    if sheet.reference is not None:
        axes.vlines([sheet.reference], 0, bottom, colors=SOFT, linewidths=1.1, zorder=1)


def _title(axes: "Axes", lines: Sequence[str], body: float) -> None:
    for number, line in enumerate(reversed(lines)):
        up = 1 + (0.2 + number * 9.5 * LINE_PITCH / 72) / body
        axes.text(0.0, up, line, transform=axes.transAxes, size=9.5, weight="bold", color=INK)


def _fill(axes: "Axes", sheet: Sheet, panel: Panel, rows: Sequence[Row], width: float, body: float) -> None:
    right = 1 + sheet.note_width / width
    axes.text(
        right, 1 + 0.04 / body, sheet.note_heading, transform=axes.transAxes, size=7, color=SOFT, ha="right"
    )
    for row in rows:
        if row.anchor is None:
            continue
        place = int(row.anchor)
        marks = panel.marks[place]
        for number, mark in enumerate(marks):
            # Several marks of one row stand above each other inside it.
            _draw_mark(axes, mark, row.centre + 0.4 * (number - (len(marks) - 1) / 2), 0.48 / len(marks))
        axes.text(
            right,
            row.centre,
            plain(panel.notes[place]),
            transform=axes.get_yaxis_transform(),
            ha="right",
            va="center_baseline",
            size=_POINTS - 1,
            color=INK,
        )
    if not sheet.reliable:
        mark_unreliable(axes, min(8.5 * width, 40.0))


def _draw_mark(axes: "Axes", mark: Mark, y: float, height: float) -> None:
    """Full line, filled bar and dot; dashed and hollow when not filled."""
    if not np.isfinite([mark.low, mark.high]).all():
        return
    axes.hlines(
        [y],
        mark.low,
        mark.high,
        colors=INK,
        linewidths=1.0,
        linestyles="solid" if mark.filled else "dashed",
        zorder=2,
    )
    if mark.lower is not None and mark.upper is not None:
        axes.barh(
            [y],
            mark.upper - mark.lower,
            left=mark.lower,
            height=height,
            facecolor=BAND if mark.filled else "white",
            edgecolor=BAND if mark.filled else INK,
            linewidth=0.8,
            zorder=3,
        )
    if mark.middle is not None:
        axes.plot(
            [mark.middle],
            [y],
            linestyle="none",
            marker="o",
            markersize=3.7,
            markerfacecolor=INK if mark.filled else "white",
            markeredgecolor=INK,
            markeredgewidth=0.9,
            zorder=4,
        )

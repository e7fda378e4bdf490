"""The one picture a tester would publish: every anchor, every seabed, bands."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
import xarray as xr

from holdcast.show.figures.layout import (
    Shape,
    anchor_pages,
    load_limits,
    load_ticks,
)
from holdcast.show.figures.panel import (
    INK,
    SOFT,
    draw_bands,
    draw_frame,
    draw_names,
    draw_pulls,
    draw_sample,
    mark_unreliable,
)
from holdcast.show.figures.paper import (
    blank_figure,
    inches,
    own_style,
    place_axes,
    svg_text,
    write_figure,
    write_lines,
)
from holdcast.show.figures.plan import LINE_PITCH, MARGIN, Plan, height_of, plan_figure
from holdcast.show.text.cell_rows import cell_rows
from holdcast.show.text.numbers import to_screen_load

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["capacity_figure", "figure_svgs", "save_figures"]

_GUTTER = 0.2  # inches between the count of pulls and the next panel


def capacity_figure(
    cells: xr.Dataset,
    units: str = "si",
    *,
    narrow: bool = False,
    reliable: bool = True,
    limits_n: tuple[float, float] | None = None,
    part: str = "",
) -> "Figure":
    """Draw the capacity of every anchor in every seabed with its 50% and 90% bands.

    One panel a seabed, one row an anchor, in order of form and name; all panels share one logarithmic load
    axis. The figure grows with the number of anchors and seabeds.

    Parameters
    ----------
    cells : xarray.Dataset
        Dims ``anchor``, ``seabed``, ``quantile``, loads in N, as from ``holdcast.answers.cells.cells``.
    units : {"si", "us"}, default "si"
        kN or lbf.
    narrow : bool, default False
        One tall column for a phone, about 390 CSS pixels wide.
    reliable : bool, default True
        The verdict's ``ok``; when false, the figure and every panel are marked unreliable.
    limits_n : (float, float), optional
        Ends of the load axis [N], so that several figures share it; by default those of ``cells``.
    part : str, optional
        Which part of the campaign this is, such as "Anchors 1 to 38 of 150."; stands under the title.

    Returns
    -------
    matplotlib.figure.Figure
        With an Agg canvas of its own; nothing is registered with pyplot.

    Raises
    ------
    ValueError
        When a capacity comes without its band, or the units are unknown.
    """
    with own_style():
        plan = plan_figure(inches, cells, units, Shape.narrow() if narrow else Shape.wide(), reliable, part)
        low, high = limits_n or load_limits(cells)
        return _draw(plan, cells, units, (to_screen_load(low, units), to_screen_load(high, units)), reliable)


def _draw(plan: Plan, cells: xr.Dataset, units: str, limits: tuple[float, float], reliable: bool) -> "Figure":
    panel_row = plan.title_height + plan.body_height + 0.42
    key_height = len(plan.key) * 0.2 + 0.16
    height = (
        2 * MARGIN + height_of(plan.head) + key_height + plan.grid[0] * panel_row + height_of(plan.foot) + 0.1
    )
    figure = blank_figure(plan.shape.width, height)
    depth = write_lines(figure, plan.head, MARGIN)
    _draw_key(place_axes(figure, MARGIN, depth + 0.06, plan.shape.width - 2 * MARGIN, key_height - 0.1), plan)
    depth += key_height
    table = cell_rows(cells)
    ticks = load_ticks(*limits, most=max(int(plan.panel_width / 0.235), 3))
    for number, seabed in enumerate(cells["seabed"].to_numpy().tolist()):
        row, column = divmod(number, plan.grid[1])
        left = MARGIN + plan.name_width + column * (plan.panel_width + plan.shape.pulls_width)
        top = depth + row * panel_row + plan.title_height
        axes = place_axes(figure, left, top, plan.panel_width, plan.body_height)
        draw_frame(axes, plan.rows, limits, ticks, plan.shape.name_points - 1.5)
        _title_panel(axes, plan, plan.titles[number])
        if column == 0:
            draw_names(axes, plan.rows, plan.name_width, plan.panel_width, plan.shape.name_points)
        _fill_panel(axes, plan, table[table["seabed"] == seabed], units, reliable)
    write_lines(figure, plan.foot, depth + plan.grid[0] * panel_row + 0.05)
    return figure


def _draw_key(axes: "Axes", plan: Plan) -> None:
    width = plan.shape.width - 2 * MARGIN
    points = plan.shape.note_points
    axes.set(xlim=(0, width), ylim=(len(plan.key), 0))
    axes.axis("off")
    for level, entries in enumerate(plan.key):
        left = 0.0
        for kind, text in entries:
            if kind:
                draw_sample(axes, left, 0.62, level + 0.5, kind)
            start = left + (0.74 if kind or len(plan.key) > 1 else 0.0)
            start = start if kind else left
            axes.text(start, level + 0.5, text, size=points, color=INK, va="center_baseline")
            left = start + inches(text, points) + 0.35


def _title_panel(axes: "Axes", plan: Plan, lines: list[str]) -> None:
    """Write the seabed's name above its panel, and "pulls" above the counts to its right."""
    left = -plan.name_width / plan.panel_width if plan.grid[1] == 1 else 0.0
    up = 1 + 0.2 / plan.body_height
    for number, line in enumerate(reversed(lines)):
        last = number == 0
        axes.text(
            left,
            up + number * 9.0 * LINE_PITCH / 72 / plan.body_height,
            line,
            transform=axes.transAxes,
            size=8.0 if last else 9.5,
            weight="normal" if last else "bold",
            color=SOFT if last else INK,
        )
    right = 1 + (plan.shape.pulls_width - _GUTTER) / plan.panel_width
    axes.text(
        right, 1 + 0.04 / plan.body_height, "pulls", transform=axes.transAxes, size=7, color=SOFT, ha="right"
    )


def _fill_panel(axes: "Axes", plan: Plan, table: pd.DataFrame, units: str, reliable: bool) -> None:
    centre = {row.anchor: row.centre for row in plan.rows if row.anchor is not None}
    centres = [centre[anchor] for anchor in table["anchor"]]
    draw_bands(axes, table, centres, units)
    room = (plan.shape.pulls_width - _GUTTER) / plan.panel_width
    draw_pulls(axes, table, centres, room, plan.shape.name_points - 1)
    if not reliable:
        mark_unreliable(axes, 8.5 * plan.panel_width)  # as wide as the panel, not wider


def _page_figures(cells: xr.Dataset, units: str, *, narrow: bool, reliable: bool) -> Iterator["Figure"]:
    """One figure a page of anchors, all with the load axis of the whole campaign."""
    limits, pages, total = load_limits(cells), anchor_pages(cells), cells.sizes["anchor"]
    done = 0
    for page in pages:
        last = done + page.sizes["anchor"]
        part = f"Anchors {done + 1} to {last} of {total}." if len(pages) > 1 else ""
        done = last
        yield capacity_figure(page, units, narrow=narrow, reliable=reliable, limits_n=limits, part=part)


def figure_svgs(cells: xr.Dataset, units: str = "si", *, reliable: bool = True) -> list[tuple[str, str]]:
    """Return the capacity figure as SVG text: for each page of anchors a wide and a narrow one.

    Parameters
    ----------
    cells, units, reliable
        As in `capacity_figure`.
    """
    wide, narrow = (
        [svg_text(figure) for figure in _page_figures(cells, units, narrow=narrow, reliable=reliable)]
        for narrow in (False, True)
    )
    return list(zip(wide, narrow, strict=True))


def save_figures(cells: xr.Dataset, folder: Path, units: str = "si", *, reliable: bool = True) -> list[Path]:
    """Write the capacity figure as PNG and SVG, wide and narrow; the same cells give the same bytes.

    Parameters
    ----------
    cells, units, reliable
        As in `capacity_figure`.
    folder : Path
        Made when it is missing. Files are ``capacity.svg``, ``capacity-narrow.svg`` and the like; with many
        anchors ``capacity-1.svg``, ``capacity-2.svg`` and so on, by pages of anchors.

    Returns
    -------
    list of Path
        What was written.
    """
    written = []
    for suffix, narrow in (("", False), ("-narrow", True)):
        figures = list(_page_figures(cells, units, narrow=narrow, reliable=reliable))
        for number, figure in enumerate(figures, start=1):
            page = f"-{number}" if len(figures) > 1 else ""
            written += write_figure(figure, folder, f"capacity{suffix}{page}")
    return written

"""Named rows with bands, a panel a seabed or question: the drawing of a sheet."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from holdcast.show.figures.panel import (
    INK,
    SOFT,
    draw_marks,
    draw_names,
    draw_notes,
    draw_rows,
    mark_unreliable,
    write_above,
)
from holdcast.show.figures.paper import (
    broken_lines,
    drop_figure,
    foot_lines,
    free_height,
    head_lines,
    inches,
    open_page,
    own_style,
    place_axes,
    write_figure,
)
from holdcast.show.figures.picture_measures import (
    LINE_PITCH,
    MARGIN,
    Format,
    Line,
    Row,
    label_rows,
    load_ticks,
    panel_grid,
    wrap_to,
)
from holdcast.show.figures.sheet import Mark, Panel, PictureSize, Sheet
from holdcast.show.text.text_columns import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "NOTE_HEADING_POINTS",
    "Mark",
    "Panel",
    "Plan",
    "Sheet",
    "draw_sheet",
    "drop_figure",
    "free_for_panels",
    "interval_figure",
    "measured",
    "panels_across",
    "save_figure",
]

_WIDEST_PANEL = 6.5
NOTE_HEADING_POINTS = 7.0
_TICK_ROOM = 0.235  # inches a number of the axis takes
_SAMPLE_PARTS = (0.0, 0.3, 0.5, 0.7, 1.0)

type _Text = tuple[str, float, str]
"""A line of a title: text, points, weight."""


class Plan(NamedTuple):
    """Everything measured before anything is drawn; lengths in inches."""

    form: Format
    rows: list[Row]
    titles: list[list[_Text]]
    across: int
    name_width: float
    panel_width: float
    title_height: float
    body: float


def interval_figure(sheet: Sheet, *, narrow: bool = False) -> "Figure":
    """Draw a sheet.

    Parameters
    ----------
    sheet : Sheet
        Every number is given; nothing is computed here.
    narrow : bool, default False
        One tall column for a phone, about 390 CSS pixels wide.

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
    with own_style():
        return draw_sheet(sheet, Format.narrow() if narrow else Format.wide(sheet.most_columns))


def save_figure(sheet: Sheet, folder: Path, name: str, sizes: Sequence[PictureSize] = ()) -> list[Path]:
    """Write a sheet as ``NAME.svg`` and ``NAME.png``; the same sheet gives the same bytes.

    Parameters
    ----------
    sheet : Sheet
    folder : Path
        Made when it is missing.
    name : str
    sizes : sequence of {"wide", "square", "phone"}
        Also written so, see :func:`holdcast.show.figures.fixed.sheets.save_fixed`.
    """
    from holdcast.show.figures.fixed.sheets import save_fixed

    return [*write_figure(interval_figure(sheet), folder, name), *save_fixed(sheet, folder, name, sizes)]


def measured(sheet: Sheet, form: Format) -> Plan:
    """Return the measures of a sheet on a paper."""
    rows = label_rows(
        sheet.headings,
        sheet.names,
        lambda name: wrap_to(name, form.widest_name, lambda part: inches(part, form.points)),
        form.heading_rows,
    )
    # On a paper of a fixed height a long heading runs on above its rows, where nothing is drawn.
    longest = np.inf if form.height is None else form.widest_name
    name_width = 0.22 + max(
        min(inches(line, form.points), longest if row.place is None else np.inf)
        for row in rows
        for line in row.text.split("\n")
    )
    _, across = panel_grid(len(sheet.panels), form.most_columns)
    width = (form.room - name_width) / across - sheet.note_width - (form.gutter if across > 1 else 0.0)
    width = max(min(width, _WIDEST_PANEL), min(sheet.least_panel, 0.8))
    left = name_width if across == 1 else 0.0
    titles = [_title(panel, left + width + sheet.note_width, form) for panel in sheet.panels]
    return Plan(
        *(form, rows, titles, across, name_width, width),
        title_height=max(sum(points for _, points, _ in title) for title in titles) * LINE_PITCH / 72 + 0.2,
        body=(rows[-1].top + rows[-1].height) * form.row_pitch,
    )


def panels_across(sheet: Sheet, form: Format) -> int:
    """Return how many panels find room beside each other, none narrower than reads well."""
    room = form.room - measured(sheet, form).name_width
    return max(int(room / (sheet.least_panel + sheet.note_width + form.gutter)), 1)


def _title(panel: Panel, room: float, form: Format) -> list[_Text]:
    """Return the lines above a panel: its title, then what it is about."""
    title, subtitle = form.panel_title_points
    bold = broken_lines(panel.title, room, title, "bold") if panel.title else []
    lines = bold + (broken_lines(panel.subtitle, room, subtitle) if panel.subtitle else [])
    return [(line.text, line.points, line.weight) for line in lines]


def free_for_panels(sheet: Sheet, form: Format) -> float:
    """Return what head, key and foot leave for panels on a paper of a fixed height [inches]."""
    head, foot = _head_and_foot(sheet, form)
    return free_height(form, head, foot) - _key_height(_key(sheet, form), form)


def _head_and_foot(sheet: Sheet, form: Format) -> tuple[list[Line], list[Line]]:
    head = head_lines(form, sheet.title, sheet.reading, reliable=sheet.reliable, subtitle=sheet.subtitle)
    return head, foot_lines(form, sheet.foot, sheet.order)


def _key_height(key: list[list[tuple[bool | None, str]]], form: Format) -> float:
    return form.key_pitch * len(key) + 0.08 if key else 0.0


def draw_sheet(sheet: Sheet, form: Format) -> "Figure":
    """Draw a sheet on a paper; one of a fixed height must have room for it."""
    plan = measured(sheet, form)
    key = _key(sheet, form)
    key_height = _key_height(key, form)
    down, _ = panel_grid(len(sheet.panels), form.most_columns)
    step = plan.title_height + plan.body + form.below
    figure, begin = open_page(form, *_head_and_foot(sheet, form), key_height + down * step)
    if key:
        axes = place_axes(figure, MARGIN, begin - 0.04, form.room, form.key_pitch * len(key))
        _draw_key(axes, key, form, with_bars=_has_bars(sheet))
    ticks = list(sheet.ticks)
    if sheet.logarithmic and not ticks:
        ticks = load_ticks(*sheet.limits, most=max(int(plan.panel_width / _TICK_ROOM), 3))
    while form.height is not None and len(ticks) > max(plan.panel_width / _TICK_ROOM, 3):
        ticks = ticks[::2]
    for number, panel in enumerate(sheet.panels):
        level, column = divmod(number, plan.across)
        left = MARGIN + plan.name_width + column * (plan.panel_width + sheet.note_width + form.gutter)
        top = begin + key_height + level * step + plan.title_height
        axes = place_axes(figure, left, top, plan.panel_width, plan.body)
        draw_rows(
            *(axes, plan.rows, sheet.limits, ticks),
            logarithmic=sheet.logarithmic,
            reference=sheet.reference,
            lower_axis=form.height is None,
        )
        write_above(axes, plan.titles[number], plan.body, left=_title_left(plan))
        if column == 0:
            draw_names(axes, plan.rows, plan.name_width, plan.panel_width, form.points)
        _fill(axes, sheet, panel, plan)
    return figure


def _title_left(plan: Plan) -> float:
    """Return where titles begin: above the names of a single column of panels, else above the axes."""
    return -plan.name_width / plan.panel_width if plan.across == 1 else 0.0


def _fill(axes: "Axes", sheet: Sheet, panel: Panel, plan: Plan) -> None:
    centres = [row.centre for row in plan.rows if row.place is not None]
    draw_marks(axes, centres, panel.marks)
    right = 1 + sheet.note_width / plan.panel_width
    if sheet.note_heading:
        place = (right, 1 + 0.04 / plan.body)
        axes.text(
            *place,
            sheet.note_heading,
            transform=axes.transAxes,
            size=NOTE_HEADING_POINTS,
            color=SOFT,
            ha="right",
        )
    draw_notes(axes, centres, list(map(plain, panel.notes)), right, plan.form.note_points)
    if not sheet.reliable:
        mark_unreliable(axes, min(8.5 * plan.panel_width, 40.0))  # as wide as the panel, not wider


def _key(sheet: Sheet, form: Format) -> list[list[tuple[bool | None, str]]]:
    """Return the lines of the key, as many entries in a line as fit: on a phone one."""
    lines: list[list[tuple[bool | None, str]]] = []
    left = form.room
    for filled, text in sheet.key:
        width = _entry_width(filled, text, form)
        if (form.is_narrow and form.height is None) or left + width > form.room:
            lines.append([])
            left = 0.0
        lines[-1].append((filled, text))
        left += width
    return lines


def _entry_width(filled: bool | None, text: str, form: Format) -> float:
    """Return the width of an entry of the key with the air after it [inches]."""
    sample, air = form.sample
    return inches(text, form.small_points) + air + (0.0 if filled is None else sample + 0.12)


def _has_bars(sheet: Sheet) -> bool:
    return any(mark.lower is not None for panel in sheet.panels for row in panel.marks for mark in row)


def _draw_key(
    axes: "Axes", key: list[list[tuple[bool | None, str]]], form: Format, *, with_bars: bool
) -> None:
    axes.set(xlim=(0, form.room), ylim=(len(key), 0))
    axes.axis("off")
    width, air = form.sample
    for level, entries in enumerate(key):
        left = 0.0
        for filled, text in entries:
            if filled is not None:
                low, lower, middle, upper, high = (left + width * part for part in _SAMPLE_PARTS)
                sample = Mark(low, high, middle, filled=filled)
                sample = sample._replace(lower=lower, upper=upper) if with_bars else sample
                draw_marks(axes, [level + 0.5], [[sample]])
                left += width + 0.12
            axes.text(left, level + 0.5, text, size=form.small_points, color=INK, va="center_baseline")
            left += inches(text, form.small_points) + air

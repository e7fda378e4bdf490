"""A sheet in pictures of a fixed shape: its rows and panels go over as many as they need to stay readable."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from holdcast.show.figures.intervals import (
    NOTE_HEADING_POINTS,
    draw_sheet,
    free_for_panels,
    measured,
    panels_across,
)
from holdcast.show.figures.paper import inches, own_style, write_in_sizes
from holdcast.show.figures.picture_measures import Format, evenly
from holdcast.show.figures.sheet import TESTED_KEY, Panel, PictureSize, Sheet
from holdcast.show.text.sentences import BY_FORM_AND_NAME, ORDER_NOTE
from holdcast.show.text.text_columns import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["fixed_figures", "save_fixed"]

_TALLEST_PITCH = 0.22
"""Rows stand no further apart than this [inches]."""
_SHORT_KEY = {text: text.partition(", ")[0].partition(": pulled")[0] for _, text in TESTED_KEY}
_NUMBERED = " (10/10)"
"""As much room as any number of pictures takes behind a title."""


def fixed_figures(sheet: Sheet, size: PictureSize) -> "list[Figure]":
    """Draw a sheet in a fixed shape: one picture, or several that say which of how many they are.

    Parameters
    ----------
    sheet : Sheet
        Its subtitle goes, since the foot names the campaign; of the order of its rows the first half stays.
    size : {"wide", "square", "phone"}
        16:9, 1:1 or 9:16.

    Returns
    -------
    list of matplotlib.figure.Figure
        Panels by panels, and within these rows by rows.
    """
    form = Format.fixed(size)
    with own_style():
        short = sheet._replace(
            foot=_short_foot(sheet),
            order="",
            subtitle="",
            key=[(filled, _SHORT_KEY.get(text, text)) for filled, text in sheet.key],
            note_width=_note_width(sheet, form),
        )
        pages = list(_pages(short, form))
        return [draw_sheet(page, _stretched(page, form)) for page in pages]


def save_fixed(sheet: Sheet, folder: Path, name: str, sizes: Sequence[PictureSize]) -> list[Path]:
    """Write a sheet in fixed shapes as SVG and PNG: ``NAME-wide.svg``, or ``NAME-wide-1.svg`` and so on."""
    return write_in_sizes(lambda size: fixed_figures(sheet, size), folder, name, sizes)


def _note_width(sheet: Sheet, form: Format) -> float:
    """Return the room that the longest note takes [inches]."""
    notes = {plain(note) for panel in sheet.panels for note in panel.notes}
    longest = max((inches(note, form.note_points) for note in notes), default=0.0)
    low, high = sheet.limits
    at_the_end = bool(sheet.ticks) and not sheet.logarithmic and high - sheet.ticks[-1] < 0.02 * (high - low)
    # A number at the end of the axis reaches half over it.
    heading = inches(sheet.note_heading, NOTE_HEADING_POINTS) + (0.1 if at_the_end else 0.0)
    return max(longest, heading) + 0.06


def _short_foot(sheet: Sheet) -> tuple[str, ...]:
    """Return the foot in few lines: in what order the rows stand, the short caution, where it comes from."""
    *texts, last = sheet.foot
    order = sheet.order if sheet.order != ORDER_NOTE else BY_FORM_AND_NAME
    return (" ".join(filter(None, [order, *texts])), last)


def _pages(sheet: Sheet, form: Format) -> Iterator[Sheet]:
    """Yield the parts of a sheet that fit on a paper each."""
    longest = sheet._replace(title=sheet.title + _NUMBERED)
    plan, free = measured(longest, form), free_for_panels(longest, form)
    above = plan.title_height + form.below
    runs = _row_runs(longest, form, max((free - above) / form.row_pitch, 1.0))
    tallest = max(_rows_high(longest, form, run) for run in runs)
    across = min(panels_across(longest, form), len(sheet.panels))
    down = max(int(free / (above + tallest * form.row_pitch)), 1)
    places = [(panels, rows) for panels in evenly(len(sheet.panels), across * down) for rows in runs]
    for number, (panels, rows) in enumerate(places, start=1):
        title = sheet.title if len(places) == 1 else f"{sheet.title} ({number}/{len(places)})"
        part = _of_rows(sheet._replace(panels=sheet.panels[panels], title=title), rows)
        yield part._replace(most_columns=across)


def _row_runs(sheet: Sheet, form: Format, most: float) -> list[slice]:
    """Return the fewest runs of rows, about equally long, each no higher than so many rows with headings."""
    number = len(sheet.names)
    for count in range(number, 0, -1):
        runs = evenly(number, count)
        if all(_rows_high(sheet, form, run) <= most for run in runs):
            return runs
    return evenly(number, 1)


def _rows_high(sheet: Sheet, form: Format, run: slice) -> float:
    last = measured(_of_rows(sheet, run), form).rows[-1]
    return last.top + last.height


def _of_rows(sheet: Sheet, run: slice) -> Sheet:
    panels: list[Panel] = [
        panel._replace(marks=panel.marks[run], notes=panel.notes[run]) for panel in sheet.panels
    ]
    return sheet._replace(headings=sheet.headings[run], names=sheet.names[run], panels=panels)


def _stretched(page: Sheet, form: Format) -> Format:
    """Return the paper with rows as far apart as the room allows."""
    form = form._replace(most_columns=page.most_columns)
    plan, free = measured(page, form), free_for_panels(page, form)
    down = -(-len(page.panels) // form.most_columns)
    rows = plan.rows[-1].top + plan.rows[-1].height
    pitch = (free / down - plan.title_height - form.below) / rows
    return form._replace(row_pitch=min(max(pitch, form.row_pitch), _TALLEST_PITCH))

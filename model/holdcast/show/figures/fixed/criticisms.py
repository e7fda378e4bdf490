"""What the model misses, in pictures of a fixed shape: residuals, then seabeds, then chances."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from holdcast.show.figures.criticism import (
    STRIP_HEADING,
    TITLE,
    chances_drawn,
    covariates_drawn,
    foot_texts,
)
from holdcast.show.figures.criticism_chances import CHANCES_HEADING, draw_chances
from holdcast.show.figures.criticism_panels import draw_residuals, draw_seabeds, title_texts
from holdcast.show.figures.panel import mark_unreliable, write_above
from holdcast.show.figures.paper import (
    broken_lines,
    foot_lines,
    free_height,
    head_lines,
    open_page,
    own_style,
    place_axes,
)
from holdcast.show.figures.picture_measures import LINE_PITCH, MARGIN, Format, Line, evenly
from holdcast.show.figures.sheet import PictureSize
from holdcast.show.views.criticise.sentences import Criticism

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["fixed_criticisms"]

_READING = (
    "One point a pull: its residual, standard normal when the model is right. Nine in ten lie between the "
    "dotted lines; hollow: load known from one side. The line is the local mean with its 90% band: near 0 "
    "where the model misses nothing. Above each panel: what pulls are compared with."
)
_LEFT, _GAP, _BELOW = 0.25, 0.15, 0.24
_LEAST_PANEL, _LEAST_WIDTH, _TALLEST_PANEL = 0.66, 1.6, 1.6
_SEABED, _TALLEST_SEABED, _SEABED_WIDTH, _AXIS = 0.46, 0.52, 3.0, 0.2
_CHANCES_LEFT, _CHANCES_WIDEST = 0.4, 4.2


class _Page(NamedTuple):
    """How to read a picture, and what draws it between a depth and so much room [inches]."""

    reading: str
    draw: "Callable[[Figure, float, float], list[Axes]]"


class _Drawing(NamedTuple):
    answer: Criticism
    form: Format
    units: str
    foot: list[Line]
    reliable: bool

    def head(self, reading: str, part: str = " (10/10)") -> list[Line]:
        return head_lines(self.form, f"{TITLE}{part}", (reading,), reliable=self.reliable)

    def free(self, reading: str) -> float:
        return free_height(self.form, self.head(reading), self.foot)


def fixed_criticisms(
    answer: Criticism, size: PictureSize, units: str = "si", *, reliable: bool = True
) -> "list[Figure]":
    """Draw what :func:`holdcast.show.figures.criticism.criticism_figure` draws, in a fixed shape.

    Parameters
    ----------
    answer, units, reliable
        As there.
    size : {"wide", "square", "phone"}
    """
    form = Format.fixed(size)
    with own_style():
        drawing = _Drawing(answer, form, units, foot_lines(form, foot_texts(answer)), reliable)
        pages = [*_residual_pages(drawing), *_seabed_pages(drawing), *_chance_pages(drawing)]
        figures = []
        for number, page in enumerate(pages, start=1):
            part = f" ({number}/{len(pages)})" if len(pages) > 1 else ""
            figure, begin = open_page(form, drawing.head(page.reading, part), drawing.foot, 0.0)
            for axes in page.draw(figure, begin, drawing.free(page.reading)):
                if not reliable:
                    mark_unreliable(axes, 16.0)
            figures.append(figure)
        return figures


def _residual_pages(drawing: _Drawing) -> list[_Page]:
    """Return the pictures of residuals against what pulls are looked at against."""
    names = covariates_drawn(drawing.answer)
    if not names:
        return []
    across = min(max(int((drawing.form.room - _LEFT + _GAP) / (_LEAST_WIDTH + _GAP)), 1), len(names))
    width = (drawing.form.room - _LEFT + _GAP) / across - _GAP
    above = max(len(_title(drawing, name, width)) for name in names) * _line(drawing.form) + 0.12
    down = max(int(drawing.free(_READING) / (above + _LEAST_PANEL + _BELOW)), 1)

    def page(run: slice) -> _Page:
        def draw(figure: "Figure", begin: float, free: float) -> "list[Axes]":
            rows = -(-(run.stop - run.start) // across)
            height = min(free / rows - above - _BELOW, _TALLEST_PANEL)
            every = []
            for place, name in enumerate(names[run]):
                level, column = divmod(place, across)
                top = begin + level * (above + height + _BELOW) + above
                axes = place_axes(figure, MARGIN + _LEFT + column * (width + _GAP), top, width, height)
                draw_residuals(axes, drawing.answer, name, drawing.units, first=column == 0)
                write_above(axes, _title(drawing, name, width), height, gap=0.06)
                every.append(axes)
            return every

        return _Page(_READING, draw)

    return [page(run) for run in evenly(len(names), across * down)]


def _line(form: Format) -> float:
    return form.points * LINE_PITCH / 72


def _title(drawing: _Drawing, name: str, width: float) -> list[tuple[str, float, str]]:
    """Return the lines above a panel, none wider than it."""
    title, changes = title_texts(drawing.answer.trends.sel(covariate=name), drawing.units)
    lines = broken_lines(title, width, drawing.form.points, "bold")
    lines += [line for text in changes for line in broken_lines(text, width, drawing.form.small_points)]
    return [(line.text, line.points, line.weight) for line in lines]


def _seabed_pages(drawing: _Drawing) -> list[_Page]:
    """Return the pictures of residuals by seabed, strips beside each other where there is room."""
    seabeds = drawing.answer.scatter.sizes["seabed"]
    most = max(int((drawing.free(STRIP_HEADING) - _AXIS) / _SEABED), 1)
    across = max(int((drawing.form.room + _GAP) / (_SEABED_WIDTH + _GAP)), 1)
    width = (drawing.form.room + _GAP) / across - _GAP

    def page(runs: Sequence[slice]) -> _Page:
        def draw(figure: "Figure", begin: float, free: float) -> "list[Axes]":
            every = []
            pitch = min((free - _AXIS) / max(run.stop - run.start for run in runs), _TALLEST_SEABED)
            for place, run in enumerate(runs):
                left, height = MARGIN + place * (width + _GAP), (run.stop - run.start) * pitch
                axes = place_axes(figure, left, begin, width, height)
                shown = drawing.answer._replace(scatter=drawing.answer.scatter.isel(seabed=run))
                draw_seabeds(axes, shown, drawing.form.points + 0.5, narrow=True)
                every.append(axes)
            return every

        return _Page(STRIP_HEADING, draw)

    runs = evenly(seabeds, most)
    return [page(runs[group]) for group in evenly(len(runs), across)]


def _chance_pages(drawing: _Drawing) -> list[_Page]:
    """Return the picture of chances, where the log holds tests enough of any."""
    chances = chances_drawn(drawing.answer)
    if chances is None:
        return []

    def draw(figure: "Figure", begin: float, free: float) -> "list[Axes]":
        height = free - _BELOW
        width = min(drawing.form.room - _CHANCES_LEFT - 0.1, _CHANCES_WIDEST, 1.8 * height)
        axes = place_axes(figure, MARGIN + _CHANCES_LEFT, begin, width, min(height, width))
        draw_chances(axes, chances, drawing.form.small_points)
        return [axes]

    return [_Page(CHANCES_HEADING, draw)]

"""The picture of what the model misses: residuals against each covariate, and their spread by seabed."""

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from holdcast.show.figures.criticism_panels import draw_residuals, draw_seabeds, write_title
from holdcast.show.figures.layout import panel_grid
from holdcast.show.figures.panel import INK, SOFT, mark_unreliable
from holdcast.show.figures.plan import LINE_PITCH, MARGIN, Line, height_of
from holdcast.show.text.sentences import provenance_sentence, verdict_heading
from holdcast.show.views.criticism_sentences import Criticism, skipped_sentence

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["criticism_figure", "save_criticism_figures"]


class _Shape(NamedTuple):
    """Sizes [inches], columns of panels, letters [points]."""

    width: float
    columns: int
    panel: float
    points: float
    title: float


_WIDE, _NARROW = _Shape(11.0, 4, 1.65, 8.5, 15.0), _Shape(3.7, 2, 1.25, 8.0, 12.0)
_LEFT, _GAP, _BELOW = 0.3, 0.2, 0.36
_MARK_POINTS = 16.0
_STRIP_HEADING = (
    "By seabed: residuals of pulls left out. The bar holds nine in ten by their spread; a bar beyond the "
    "dotted lines means that pulls scatter wider than the model says, a shorter one narrower."
)


class _Plan(NamedTuple):
    """Everything measured before anything is drawn; lengths in inches."""

    shape: _Shape
    names: list[str]
    head: list[Line]
    middle: list[Line]
    foot: list[Line]
    across: int
    width: float
    above: float
    step: float
    strip: float
    top: float
    below: float
    height: float


def criticism_figure(
    answer: Criticism, units: str = "si", *, narrow: bool = False, reliable: bool = True
) -> "Figure":
    """Draw the residuals against each covariate with a smooth and its band, and those of each seabed.

    Parameters
    ----------
    answer : Criticism
        Residuals, covariates, trends, smooth and scatter of a fit.
    units : {"si", "us"}
        Of what pulls are looked at against.
    narrow : bool
        Two columns for a phone, about 390 CSS pixels wide.
    reliable : bool
        The verdict's ``ok``; when false the figure and every panel are marked.
    """
    from holdcast.show.figures.paper import blank_figure, own_style, place_axes, write_lines

    with own_style():
        plan = _plan(answer, _NARROW if narrow else _WIDE, reliable=reliable)
        figure: Figure = blank_figure(plan.shape.width, plan.height)
        write_lines(figure, plan.head, MARGIN)
        for number, name in enumerate(plan.names):
            level, column = divmod(number, plan.across)
            left = MARGIN + _LEFT + column * (plan.width + _GAP)
            top = plan.top + level * plan.step + plan.above
            axes = place_axes(figure, left, top, plan.width, plan.shape.panel)
            draw_residuals(axes, answer, name, units, first=column == 0)
            size = (plan.width, plan.shape.panel)
            write_title(
                axes, answer.trends.sel(covariate=name), units, size, plan.shape.points, narrow=narrow
            )
            if not reliable:
                mark_unreliable(axes, _MARK_POINTS)
        depth = write_lines(figure, plan.middle, plan.below)
        room = plan.shape.width - 2 * MARGIN - 0.1
        axes = place_axes(figure, MARGIN, depth + 0.1, room if narrow else 0.5 * room, plan.strip)
        draw_seabeds(axes, answer, plan.shape.points, narrow=narrow)
        if not reliable:
            mark_unreliable(axes, _MARK_POINTS)
        write_lines(figure, plan.foot, depth + plan.strip + 0.42)
        return figure


def save_criticism_figures(
    answer: Criticism, folder: Path, units: str = "si", *, reliable: bool = True
) -> list[Path]:
    """Write ``criticism`` and ``criticism-narrow`` as SVG and PNG; the same answer gives the same bytes."""
    from holdcast.show.figures.paper import write_figure

    written = []
    for name, narrow in (("criticism", False), ("criticism-narrow", True)):
        figure = criticism_figure(answer, units, narrow=narrow, reliable=reliable)
        written += write_figure(figure, folder, name)
    return written


def _plan(answer: Criticism, shape: _Shape, *, reliable: bool) -> _Plan:
    trends = answer.trends
    names = [str(name) for name in trends["covariate"].values[trends["skipped"].to_numpy() == ""]]
    head, foot = _head(shape, reliable=reliable), _foot(answer, shape)
    middle = _lines(_STRIP_HEADING, shape, shape.points, colour=SOFT)
    down, across = panel_grid(len(names), shape.columns) if names else (0, 1)
    narrow = shape is _NARROW
    above = (3 if narrow else 2) * shape.points * LINE_PITCH / 72 + 0.12
    step = above + shape.panel + _BELOW
    strip = answer.scatter.sizes["seabed"] * (0.52 if narrow else 0.3)
    top = MARGIN + height_of(head) + 0.1
    below = top + down * step + 0.1
    return _Plan(
        *(shape, names, head, middle, foot, across),
        width=min((shape.width - 2 * MARGIN - _LEFT) / across - _GAP, 3.4),
        above=above,
        step=step,
        strip=strip,
        top=top,
        below=below,
        height=below + height_of(middle) + strip + 0.5 + height_of(foot) + MARGIN,
    )


def _lines(text: str, shape: _Shape, points: float, weight: str = "normal", colour: str = INK) -> list[Line]:
    from holdcast.show.figures.paper import broken_lines

    return broken_lines(text, shape.width, points, weight, colour)


def _head(shape: _Shape, *, reliable: bool) -> list[Line]:
    reading = (
        "One point a pull: its residual (up), standard normal when the model is right; nine in ten lie "
        "between the dotted lines. Hollow: load known from one side only. Line: local mean with its 90% "
        "band, which counts visits and anchors, not pulls; near 0 all along when the model misses nothing. A "
        "pull is compared with what is expected when it is left out, or of a new visit or a new design, as "
        "written."
    )
    mark = [] if reliable else _lines(verdict_heading(False), shape, shape.title, "bold")
    title = _lines("What the model misses", shape, shape.title, "bold")
    return [*mark, *title, *_lines(reading, shape, shape.points, colour=SOFT)]


def _foot(answer: Criticism, shape: _Shape) -> list[Line]:
    looks = int(np.isfinite(answer.trends["p_value"]).sum())
    text = f"{looks} looks for a slope or a bow; a star marks one beyond what chance brings to so many."
    text = " ".join([text, *skipped_sentence(answer.trends)])
    provenance = provenance_sentence(answer.residuals.attrs)
    return _lines(text, shape, shape.points) + _lines(provenance, shape, shape.points, colour=SOFT)

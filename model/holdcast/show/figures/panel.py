"""Drawing on given axes: bands, names, axes, titles. Knows nothing of pages."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from holdcast.show.figures.picture_measures import LINE_PITCH, Row, even_ticks, load_ticks
from holdcast.show.figures.sheet import Mark
from holdcast.show.text.sentences import UNRELIABLE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "BAND",
    "INK",
    "RULE",
    "SOFT",
    "across_axis",
    "draw_marks",
    "draw_names",
    "draw_notes",
    "draw_rows",
    "frame",
    "mark_unreliable",
    "write_above",
]

# One dark blue and greys: the difference between tested and untested is carried by shape, never by colour.
INK, SOFT, RULE, BAND = "#16222e", "#4d5862", "#dfe3e6", "#86a3bd"
_HALF_BAR = 0.24  # half the height of the 50% band, in rows
_TICK_POINTS = 7.0
_DOTS = {"dot": ("o", 3.7), "triangle": ("v", 5.2), "cross": ("X", 6.2)}
"""Marker and size of a median [points]."""


def draw_marks(axes: "Axes", centres: Sequence[float], rows: Sequence[Sequence[Mark]]) -> None:
    """Draw a line for each 90% band, a bar for each 50% band and a dot for each median.

    Filled marks have a full line, a filled bar and a filled dot; others a dashed line, a hollow bar and a
    hollow dot.  A mark without ends is left out; several marks of one row stand below each other in it.

    Parameters
    ----------
    axes : matplotlib Axes
        Its y axis in rows.
    centres : sequence of float
        Vertical place of each row.
    rows : sequence of sequences of Mark
        The marks of each row.
    """
    placed = [
        (centre + 0.4 * (number - (len(marks) - 1) / 2), _HALF_BAR / len(marks), mark)
        for centre, marks in zip(centres, rows, strict=True)
        for number, mark in enumerate(marks)
        if np.isfinite([mark.low, mark.high]).all()
    ]
    for filled in (True, False):
        kind = [entry for entry in placed if entry[2].filled is filled]
        if kind:
            _draw_kind(axes, kind, filled=filled)
    strokes = np.array([(value, place) for place, _, mark in placed for value in mark.strokes])
    if len(strokes):
        values, places = strokes.T
        axes.vlines(values, places - 0.48, places - 0.26, colors=INK, linewidths=1.1, zorder=3)


def _draw_kind(axes: "Axes", placed: Sequence[tuple[float, float, Mark]], *, filled: bool) -> None:
    word = "filled" if filled else "hollow"
    heights = [place for place, _, _ in placed]
    low, high = np.array([(mark.low, mark.high) for _, _, mark in placed]).T
    lines = axes.hlines(heights, low, high, colors=INK, linewidths=1.0)
    lines.set(linestyle="solid" if filled else "dashed", zorder=2, label=f"90% band, {word}")
    bars = [
        (place, half, mark.lower, mark.upper)
        for place, half, mark in placed
        if mark.lower is not None and mark.upper is not None
    ]
    if bars:
        place, half, lower, upper = np.array(bars).T
        axes.barh(
            *(place, upper - lower, 2 * half),
            left=lower,
            facecolor=BAND if filled else "white",
            edgecolor=BAND if filled else INK,
            linewidth=0.8,
            zorder=3,
            label=f"50% band, {word}",
        )
    _draw_dots(axes, placed, filled=filled)


def _draw_dots(axes: "Axes", placed: Sequence[tuple[float, float, Mark]], *, filled: bool) -> None:
    """Draw medians, each shape by itself."""
    for shape, (marker, size) in _DOTS.items():
        dots = [
            (mark.middle, place)
            for place, _, mark in placed
            if mark.middle is not None and mark.shape == shape
        ]
        if dots:
            axes.plot(
                *np.array(dots).T,
                linestyle="none",
                marker=marker,
                markersize=size,
                markerfacecolor=INK if filled else "white",
                markeredgecolor=INK,
                markeredgewidth=0.9,
                zorder=4,
                label=f"median, {'filled' if filled else 'hollow'}",
            )


def draw_rows(
    axes: "Axes",
    rows: Sequence[Row],
    limits: tuple[float, float],
    ticks: Sequence[float],
    *,
    logarithmic: bool,
    reference: float | None = None,
    lower_axis: bool = True,
) -> None:
    """Set up a panel of named rows: the axis above and below, a rule under each row, no box.

    Parameters
    ----------
    axes : matplotlib Axes
    rows : sequence of Row
    limits, ticks : floats
        In the units shown.
    logarithmic : bool
    reference : float, optional
        A value to compare with: an upright line.
    lower_axis : bool
        Whether the axis below has numbers too.
    """
    bottom = rows[-1].top + rows[-1].height
    axes.set(xscale="log" if logarithmic else "linear", xlim=limits, ylim=(bottom, 0), facecolor="none")
    axes.set_yticks([])
    axes.set_xticks(list(ticks), labels=[f"{tick:g}" for tick in ticks])
    axes.minorticks_off()
    axes.tick_params(
        *("x",),
        top=True,
        labeltop=True,
        labelbottom=lower_axis,
        bottom=lower_axis,
        labelsize=_TICK_POINTS,
        color=SOFT,
        labelcolor=SOFT,
        length=2.5,
        pad=1.5,
    )
    for side in ("left", "right"):
        axes.spines[side].set_visible(False)
    for side in ("top", "bottom"):
        axes.spines[side].set(color=SOFT, linewidth=0.6)
    axes.vlines(list(ticks), 0, bottom, colors=RULE, linewidths=0.6, zorder=0)
    named = [row.centre for row in rows if row.place is not None]
    axes.hlines(named, *limits, colors=RULE, linewidths=0.6, zorder=0)
    if reference is not None:
        axes.vlines([reference], 0, bottom, colors=SOFT, linewidths=1.1, zorder=1)


def draw_names(
    axes: "Axes", rows: Sequence[Row], name_width: float, panel_width: float, points: float
) -> None:
    """Write headings and names to the left of a panel; widths in inches."""
    left = -name_width / panel_width
    for row in rows:
        heading = row.place is None
        axes.text(
            left if heading else left + 0.09 / panel_width,
            row.centre + (0.12 if heading and row.height > 1.0 else 0.0),
            row.text,
            transform=axes.get_yaxis_transform(),
            size=points,
            color=SOFT if heading else INK,
            style="italic" if heading else "normal",
            va="center_baseline" if "\n" not in row.text else "center",
            ha="left",
            linespacing=1.0,
        )


def draw_notes(
    axes: "Axes", centres: Sequence[float], notes: Sequence[str], across: float, points: float
) -> None:
    """Write a note to the right of each row, its end at ``across`` panel widths; "none" is softer."""
    for centre, note in zip(centres, notes, strict=True):
        axes.text(
            *(across, centre, note),
            transform=axes.get_yaxis_transform(),
            ha="right",
            va="center_baseline",
            size=points,
            color=SOFT if note.startswith("none") else INK,
        )


def write_above(
    axes: "Axes",
    rows: Sequence[tuple[str, float, str]],
    height: float,
    *,
    left: float = 0.0,
    gap: float = 0.2,
) -> None:
    """Write lines (text, points, weight) above axes of a height [inches], the last one ``gap`` inches up."""
    up = gap
    for text, points, weight in reversed(rows):
        colour = INK if weight == "bold" else SOFT
        place = (left, 1 + up / height)
        axes.text(*place, text, transform=axes.transAxes, size=points, weight=weight, color=colour)
        up += points * LINE_PITCH / 72


def across_axis(axes: "Axes", ends: tuple[float, float], *, logarithmic: bool, most: int = 4) -> None:
    """Scale and label the x axis of a panel of points or curves."""
    axes.set(xscale="log" if logarithmic else "linear", xlim=ends)
    axes.minorticks_off()
    ticks = load_ticks(*ends, most) if logarithmic and ends[1] / ends[0] > 3.5 else even_ticks(*ends)
    axes.set_xticks(ticks, labels=[f"{tick:g}" for tick in ticks])


def frame(axes: "Axes") -> None:
    """Give a panel of points or curves a thin box and small numbers."""
    axes.set_facecolor("none")
    axes.tick_params(labelsize=_TICK_POINTS, color=SOFT, labelcolor=SOFT, length=2.5, pad=1.5)
    for spine in axes.spines.values():
        spine.set(color=RULE, linewidth=0.6)


def mark_unreliable(axes: "Axes", points: float) -> None:
    """Write the mark of a bad verdict across the axes, in letters of a size [points]."""
    axes.text(
        *(0.5, 0.5, UNRELIABLE),
        transform=axes.transAxes,
        size=points,
        weight="bold",
        color=INK,
        alpha=0.4,
        ha="center",
        va="center",
        zorder=9,
    )

"""Drawing on given axes: bands, row labels, load axis, key. Knows nothing of pages."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from holdcast.show.figures.layout import Row
from holdcast.show.text.numbers import to_screen_load
from holdcast.show.text.sentences import UNRELIABLE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "BAND",
    "INK",
    "RULE",
    "SOFT",
    "draw_bands",
    "draw_frame",
    "draw_names",
    "draw_pulls",
    "draw_sample",
    "mark_unreliable",
]

# One dark blue and greys: the difference between tested and untested is carried by shape, never by colour.
INK, SOFT, RULE, BAND = "#16222e", "#4d5862", "#dfe3e6", "#86a3bd"
_QUANTILES = ("q05", "q25", "q50", "q75", "q95")
_HALF_BAR = 0.24  # half the height of the 50% band, in rows


def draw_bands(axes: "Axes", table: pd.DataFrame, centres: Sequence[float], units: str) -> None:
    """Draw a line for each 90% band, a bar for each 50% band, a dot for each median.

    Tested cells have a full line, a filled bar and a filled dot; untested ones a dashed line, a hollow bar
    and a hollow dot.

    Parameters
    ----------
    axes : matplotlib Axes
        Its x axis in the units shown, its y axis in rows.
    table : pandas.DataFrame
        Rows of one seabed as from ``cell_rows``; loads in N.
    centres : sequence of float
        Vertical place of each row.
    units : {"si", "us"}
    """
    loads = [
        np.array([to_screen_load(load, units) for load in table[f"capacity_n_{name}"]]) for name in _QUANTILES
    ]
    tested = (table["evidence"] == "tested").to_numpy()
    for chosen, word in ((tested, "tested"), (~tested, "untested")):
        if chosen.any():
            _draw_kind(axes, np.asarray(centres)[chosen], [values[chosen] for values in loads], word)


def _draw_kind(axes: "Axes", y: np.ndarray, loads: list[np.ndarray], word: str) -> None:
    filled = word == "tested"
    low, lower, median, upper, high = loads
    lines = axes.hlines(y, low, high, colors=INK, linewidths=1.0, linestyles="solid" if filled else "dashed")
    lines.set(zorder=2, label=f"90% band, {word}")
    axes.barh(
        y,
        upper - lower,
        left=lower,
        height=2 * _HALF_BAR,
        facecolor=BAND if filled else "white",
        edgecolor=BAND if filled else INK,
        linewidth=0.8,
        zorder=3,
        label=f"50% band, {word}",
    )
    axes.plot(
        median,
        y,
        linestyle="none",
        marker="o",
        markersize=3.7,
        markerfacecolor=INK if filled else "white",
        markeredgecolor=INK,
        markeredgewidth=0.9,
        zorder=4,
        label=f"median, {word}",
    )


def draw_sample(axes: "Axes", left: float, width: float, y: float, word: str) -> None:
    """Draw one sample band of a kind for the key, on axes with a linear scale."""
    places = [np.array([left + width * share]) for share in (0.0, 0.3, 0.5, 0.7, 1.0)]
    _draw_kind(axes, np.array([y]), places, word)


def draw_frame(
    axes: "Axes", rows: Sequence[Row], limits: tuple[float, float], ticks: Sequence[float], points: float
) -> None:
    """Set up a panel: shared log axis of load above and below, a rule under each row, no box.

    Parameters
    ----------
    axes : matplotlib Axes
    rows : sequence of Row
    limits, ticks : floats
        In the units shown.
    points : float
        Size of the tick labels.
    """
    axes.set_xscale("log")
    axes.set_xlim(*limits)
    axes.set_ylim(rows[-1].top + rows[-1].height, 0)
    axes.set_yticks([])
    axes.set_xticks(list(ticks), labels=[f"{tick:g}" for tick in ticks])
    axes.minorticks_off()
    axes.tick_params(
        axis="x", top=True, labeltop=True, labelsize=points, color=SOFT, labelcolor=SOFT, length=2.5, pad=1.5
    )
    axes.set_facecolor("none")
    for side in ("left", "right"):
        axes.spines[side].set_visible(False)
    for side in ("top", "bottom"):
        axes.spines[side].set(color=SOFT, linewidth=0.6)
    axes.vlines(list(ticks), 0, rows[-1].top + rows[-1].height, colors=RULE, linewidths=0.6, zorder=0)
    anchors = [row.centre for row in rows if row.anchor is not None]
    axes.hlines(anchors, *limits, colors=RULE, linewidths=0.6, zorder=0)


def draw_names(
    axes: "Axes", rows: Sequence[Row], name_width: float, panel_width: float, points: float
) -> None:
    """Write forms and anchors to the left of a panel; widths in inches."""
    left = -name_width / panel_width
    for row in rows:
        heading = row.anchor is None
        axes.text(
            left if heading else left + 0.09 / panel_width,
            row.centre + (0.12 if heading else 0.0),
            row.text,
            transform=axes.get_yaxis_transform(),
            size=points,
            color=SOFT if heading else INK,
            style="italic" if heading else "normal",
            va="center_baseline" if "\n" not in row.text else "center",
            ha="left",
            linespacing=1.0,
        )


def draw_pulls(
    axes: "Axes", table: pd.DataFrame, centres: Sequence[float], room: float, points: float
) -> None:
    """Write to the right of each band how many pulls stand behind it; ``room`` in parts of the panel's width.

    No pull reads "none", so that untested cells are told apart by a word as well.
    """
    for y, pulls, where in zip(centres, table["pulls"], table["range"], strict=True):
        axes.text(
            1 + room,
            y,
            (str(pulls) if pulls else "none") + ("*" if where == "outside" else ""),
            transform=axes.get_yaxis_transform(),
            ha="right",
            va="center_baseline",
            size=points,
            color=INK if pulls else SOFT,
        )


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

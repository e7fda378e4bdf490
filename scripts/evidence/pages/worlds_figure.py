"""The picture of `worlds.py`: errors over the best possible and coverage, a row for each world."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from holdcast.show.figures.paper import blank_figure, own_style, svg_text
from pages.worlds_table import BEST, FORMULA, OURS, mean_and_error, ratio, scores

__all__ = ["save_worlds_figure"]

_INK, _SOFT = "#1a1a1a", "#8a8a8a"
_MARKS = {OURS: ("o", _INK, _INK), FORMULA: ("o", "white", _INK)}
"""Marker, inside and edge of the two that have bars; others are thin strokes, the bound a thick one."""
_WANTED = (87.0, 93.0)


def save_worlds_figure(outcomes: list[dict[str, Any]], least: Mapping[str, float], path: Path) -> None:
    """Draw errors and coverage world by world, with bars of two standard errors (SVG).

    Parameters
    ----------
    outcomes : list of dict
        Of `worlds.py`.
    least : mapping
        World to the bound on the error of any learner over the best possible's (`worlds_floor.py`).
    path : Path
        File to write.
    """
    frame = pd.DataFrame([row for outcome in outcomes for row in scores(outcome)])
    parts = {str(world): inside for world, inside in frame.groupby("world", sort=False)}
    with own_style():
        figure = blank_figure(10.0, 1.5 + 0.42 * len(parts))
        errors, cover = figure.subplots(1, 2, sharey=True, gridspec_kw={"width_ratios": (3, 2)})
        figure.subplots_adjust(left=0.12, right=0.98, top=0.80, bottom=0.16, wspace=0.06)
        _errors(errors, parts)
        _least(errors, [least[world] for world in parts])
        _coverage(cover, parts)
        errors.set_yticks(range(len(parts)), [world.replace("_", " ") for world in parts])
        errors.set_ylim(len(parts) - 0.5, -0.5)
        for axes in (errors, cover):
            axes.tick_params(axis="y", length=0)
            axes.grid(axis="x", color="#e4e4e4", linewidth=0.8)
            axes.set_axisbelow(True)
            for side in ("top", "right", "left"):
                axes.spines[side].set_visible(False)
        path.write_text(svg_text(figure), encoding="utf-8", newline="\n")


def _errors(axes: Axes, parts: dict[str, pd.DataFrame]) -> None:
    for row, inside in enumerate(parts.values()):
        over = ratio(inside, BEST)
        for method, (middle, error) in over.items():
            if method in _MARKS:
                _bar(axes, method, row, np.exp([middle - 2 * error, middle, middle + 2 * error]))
            elif method != BEST:
                axes.plot(np.exp(middle), row, "|", color=_SOFT, markersize=9)
    first = ratio(next(iter(parts.values())), BEST)
    for method in _MARKS:
        axes.annotate(
            method, (np.exp(first[method][0]), 0), (0, 11), textcoords="offset points", rotation=25,
            fontsize=8.5, color=_INK, annotation_clip=False,
        )  # fmt: skip
    others = ", ".join(method for method in first if method not in (BEST, *_MARKS))
    axes.text(0.0, 1.2, f"Bars: two standard errors by campaign.  Thin strokes: {others}.",
              transform=axes.transAxes, fontsize=8.5, color=_INK)  # fmt: skip
    axes.set_xscale("log")
    axes.set_xlim(0.97, 5.0)
    axes.axvline(1.25, color=_SOFT, linewidth=1.0, linestyle="--")
    axes.set_xticks([1, 1.25, 1.5, 2, 3, 4], ["1", "1.25", "1.5", "2", "3", "4"])
    axes.minorticks_off()
    axes.set_xlabel("error in hidden cells over the best possible's (wanted: 1.25 at most)", fontsize=9)


def _least(axes: Axes, over_best: list[float]) -> None:
    """Mark the bound of each world: nothing that has to learn can stand left of it, on average."""
    rows = np.arange(len(over_best))
    axes.plot(
        over_best, rows, "|", color=_INK, markersize=12, markeredgewidth=3.0, gid="least",
    )  # fmt: skip
    axes.annotate(
        "bound of any learner", (over_best[0], 0), (-4, 11), textcoords="offset points", rotation=25,
        fontsize=8.5, color=_INK, annotation_clip=False,
    )  # fmt: skip


def _coverage(axes: Axes, parts: dict[str, pd.DataFrame]) -> None:
    axes.axvspan(*_WANTED, color="#eeeeee")
    axes.axvline(90.0, color=_SOFT, linewidth=1.0)
    for row, inside in enumerate(parts.values()):
        for method in _MARKS:
            shares = inside.loc[inside["method"] == method, "cover90"].to_numpy()
            middle, error = mean_and_error(100.0 * shares)
            _bar(axes, method, row, np.array([middle - 2 * error, middle, middle + 2 * error]))
    axes.set_xlim(30.0, 100.0)
    axes.set_xlabel("90% bands cover, % (wanted: the grey)", fontsize=9)


def _bar(axes: Axes, method: str, row: int, ends: np.ndarray[Any, np.dtype[np.float64]]) -> None:
    marker, inside, edge = _MARKS[method]
    place = row + (-0.12 if method == OURS else 0.12)
    axes.plot(ends[[0, 2]], [place, place], color=edge, linewidth=1.4 if method == OURS else 0.8)
    axes.plot(ends[1], place, marker, markerfacecolor=inside, markeredgecolor=edge, markersize=6)

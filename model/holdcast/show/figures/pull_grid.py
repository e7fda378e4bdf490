"""The picture of a campaign before it is fitted: pulls of each anchor in each seabed, with the holes."""

from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from holdcast.show.figures.layout import MARGIN, Format, wrap_to
from holdcast.show.figures.panel import BAND, INK, RULE, SOFT
from holdcast.show.figures.paper import (
    foot_lines,
    head_lines,
    inches,
    open_page,
    own_style,
    place_axes,
    save_as,
)
from holdcast.show.text.layout import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["pull_grid_figure", "save_pull_grid"]

_PITCH = 0.2
_FULL = 4
"""From this many pulls on a bar fills its cell."""


def pull_grid_figure(counts: pd.DataFrame, title: str = "") -> "Figure":
    """Draw a bar for each cell that was pulled, longer for more pulls, with the number in it.

    Parameters
    ----------
    counts : DataFrame
        As from ``holdcast.show.text.pull_grid.pull_counts``.
    title : str
        The campaign's.
    """
    with own_style():
        form = Format.wide()
        rows, columns = counts.shape
        names = [plain(name) for name in counts.index]
        name_width = max(inches(name, form.points) for name in names) + 0.2
        width = min(form.room - name_width, 1.2 * columns)
        labels = [
            wrap_to(plain(name), 0.95 * width / columns, lambda part: inches(part, form.points, "bold"))
            for name in counts.columns
        ]
        above = max(map(len, labels)) * 0.16 + 0.08
        holes = int((counts == 0).to_numpy().sum())
        reading = ("The number is how many pulls count. An empty cell was never pulled: a hole.",)
        head = head_lines(form, "Pulls of each anchor in each seabed", reading, reliable=True, subtitle=title)
        foot = foot_lines(form, (f"{holes} of {counts.size} cells are holes.",))
        figure, begin = open_page(form, head, foot, above + rows * _PITCH + 0.15)
        axes = place_axes(figure, MARGIN + name_width, begin + above, width, rows * _PITCH)
        _rule(axes, rows, columns)
        for across, lines in enumerate(labels):
            _write(axes, across + 0.5, -0.25, "\n".join(lines), form.points, weight="bold")
        for down, name in enumerate(names):
            _write(axes, -0.1 * columns / width, down + 0.5, name, form.points, ha="right")
            for across, count in enumerate(counts.iloc[down]):
                if count:
                    side = min(count, _FULL) / _FULL
                    axes.barh(down + 0.5, 0.9 * side, 0.8, left=across + 0.5 - 0.45 * side, color=BAND)
                    _write(axes, across + 0.5, down + 0.5, str(count), 7.5)
        return figure


def _rule(axes: "Axes", rows: int, columns: int) -> None:
    axes.set(xlim=(0, columns), ylim=(rows, 0))
    axes.axis("off")
    axes.vlines(range(columns + 1), 0, rows, colors=RULE, linewidths=0.6)
    axes.hlines(range(rows + 1), 0, columns, colors=RULE, linewidths=0.6)
    axes.hlines([0, rows], 0, columns, colors=SOFT, linewidths=0.6)


def _write(
    axes: "Axes",
    across: float,
    down: float,
    text: str,
    points: float,
    *,
    weight: str = "normal",
    ha: str = "center",
) -> None:
    upright = "bottom" if weight == "bold" else "center_baseline"
    axes.text(across, down, text, size=points, weight=weight, color=INK, ha=ha, va=upright)


def save_pull_grid(counts: pd.DataFrame, path: Path, title: str = "") -> None:
    """Write the picture into a file, SVG or PNG by its ending; the same counts give the same bytes."""
    save_as(pull_grid_figure(counts, title), path)

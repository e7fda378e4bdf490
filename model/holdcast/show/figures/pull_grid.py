"""The picture of a campaign before it is fitted: pulls of each anchor in each seabed, with the holes."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from holdcast.show.figures.panel import BAND, INK, RULE, SOFT
from holdcast.show.figures.paper import (
    foot_lines,
    head_lines,
    inches,
    open_page,
    own_style,
    place_axes,
    save_as,
    write_in_sizes,
)
from holdcast.show.figures.picture_measures import MARGIN, Format, wrap_to
from holdcast.show.figures.sheet import PictureSize
from holdcast.show.text.text_columns import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["READING", "TITLE", "draw_grid", "holes_sentence", "pull_grid_figure", "save_pull_grid"]

TITLE = "Pulls of each anchor in each seabed"
READING = "The number is how many pulls count. An empty cell was never pulled: a hole."
_PITCH = 0.2
_FULL = 4
"""From this many pulls on a bar fills its cell."""


def holes_sentence(counts: pd.DataFrame) -> str:
    """Return how many cells nobody pulled."""
    return f"{int((counts == 0).to_numpy().sum())} of {counts.size} cells are holes."


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
        head = head_lines(form, TITLE, (READING,), reliable=True, subtitle=title)
        foot = foot_lines(form, (holes_sentence(counts),))
        figure, begin = open_page(form, head, foot, above + rows * _PITCH + 0.15)
        axes = place_axes(figure, MARGIN + name_width, begin + above, width, rows * _PITCH)
        draw_grid(axes, counts, labels, inches_across=width, points=form.points, number_points=7.5)
        return figure


def draw_grid(
    axes: "Axes",
    counts: pd.DataFrame,
    labels: Sequence[Sequence[str]],
    *,
    inches_across: float,
    points: float,
    number_points: float,
    upright: bool = True,
) -> None:
    """Draw the bars on given axes, names to their left and labels above.

    Parameters
    ----------
    axes : matplotlib Axes
    counts : DataFrame
    labels : sequence of sequences of str
        Lines of each column's name.
    inches_across : float
        Width of the axes.
    points, number_points : float
        Sizes of letters and numbers.
    upright : bool
        Labels read from left to right; else from below.
    """
    rows, columns = counts.shape
    _rule(axes, rows, columns)
    # Axes go by rows and columns; a place just above them by their own height.
    above, height = axes.get_xaxis_transform(), _inches_down(axes)
    for across, lines in enumerate(labels):
        label = axes.text(across + 0.5, 1.0 + 0.04 / height, "\n".join(lines), transform=above)
        label.set(size=points, weight="bold", color=INK, linespacing=1.05, ha="center", va="bottom")
        label.set_rotation(0 if upright else 90)
    for down, name in enumerate(counts.index):
        place = -0.1 * columns / inches_across, down + 0.5
        axes.text(*place, plain(name), size=points, color=INK, ha="right", va="center_baseline")
        for across, count in enumerate(counts.iloc[down]):
            if count:
                side = min(count, _FULL) / _FULL
                axes.barh(down + 0.5, 0.9 * side, 0.8, left=across + 0.5 - 0.45 * side, color=BAND)
                number = axes.text(across + 0.5, down + 0.5, str(count), size=number_points, color=INK)
                number.set(ha="center", va="center_baseline")


def _inches_down(axes: "Axes") -> float:
    """Return the height of axes [inches]."""
    return axes.get_window_extent().height / axes.figure.dpi


def _rule(axes: "Axes", rows: int, columns: int) -> None:
    axes.set(xlim=(0, columns), ylim=(rows, 0))
    axes.axis("off")
    axes.vlines(range(columns + 1), 0, rows, colors=RULE, linewidths=0.6)
    axes.hlines(range(rows + 1), 0, columns, colors=RULE, linewidths=0.6)
    axes.hlines([0, rows], 0, columns, colors=SOFT, linewidths=0.6)


def save_pull_grid(
    counts: pd.DataFrame, path: Path, title: str = "", sizes: Sequence[PictureSize] = ()
) -> list[Path]:
    """Write the picture into a file, SVG or PNG by its ending; the same counts give the same bytes.

    Parameters
    ----------
    counts, title
        As for :func:`pull_grid_figure`.
    path : Path
    sizes : sequence of {"wide", "square", "phone"}
        Also written so beside it, ``STEM-wide.svg`` and ``.png`` or as many as its rows need.
    """
    from holdcast.show.figures.fixed.pull_grids import fixed_pull_grids

    save_as(pull_grid_figure(counts, title), path)
    if not sizes:
        return [path]
    in_sizes = write_in_sizes(
        lambda size: fixed_pull_grids(counts, size, title), path.parent, path.stem, sizes
    )
    return [path, *in_sizes]

"""Chances, predicted against seen, drawn on given axes. Knows nothing of pages."""

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from holdcast.show.figures.panel import INK, SOFT, frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["CHANCES_HEADING", "any_chance", "draw_chances"]

CHANCES_HEADING = (
    "Chances: predicted (across) and seen (up, with its 90% interval), a mark a tenth. On the dotted line "
    "they come true. Discs: whether a pull's anchor sets; hollow squares: whether an attempt to set again "
    "succeeds. Beside a mark: how many tests."
)
_MARKS = {"sets": ("o", INK, -0.008), "sets again": ("s", "white", 0.008)}
"""Shape, filling, and a step aside so that two marks of one place do not cover each other."""


def any_chance(chances: xr.Dataset) -> bool:
    """Tell whether the log holds tests enough of any chance."""
    return bool(chances["enough"].any())


def draw_chances(axes: "Axes", chances: xr.Dataset, points: float) -> None:
    """Draw the share seen over the chance predicted, tenth by tenth, of each chance with tests enough.

    Parameters
    ----------
    axes : matplotlib Axes
    chances : Dataset
        As from ``holdcast.answers.criticise.chances``.
    points : float
        Of the numbers of tests.
    """
    axes.plot([0.0, 1.0], [0.0, 1.0], color=SOFT, linewidth=0.7, linestyle="dotted", zorder=1)
    for event in chances["event"].to_numpy()[chances["enough"].to_numpy()]:
        shape, face, aside = _MARKS[str(event)]
        here = chances.sel(event=event)
        here = here.isel(part=np.flatnonzero(((here["tests"] > 0) & (here["part"] != "all")).to_numpy()))
        across, seen = here["predicted"].to_numpy() + aside, here["seen"].to_numpy()
        axes.vlines(across, here["seen_low"], here["seen_high"], color=SOFT, linewidth=1.0, zorder=2)
        axes.plot(
            *(across, seen),
            linestyle="none",
            marker=shape,
            markersize=3.6,
            markerfacecolor=face,
            markeredgecolor=INK,
            markeredgewidth=0.7,
            zorder=3,
        )
        for place, height, tests in zip(across, seen, here["tests"].to_numpy(), strict=True):
            axes.annotate(
                str(int(tests)),
                (place, height),
                xytext=(3.5 if aside > 0 else -3.5, 2.5),
                textcoords="offset points",
                ha="left" if aside > 0 else "right",
                size=points,
                color=SOFT,
            )
    axes.set_xlim(-0.05, 1.06)
    axes.set_ylim(-0.06, 1.08)
    ticks, labels = [0.0, 0.25, 0.5, 0.75, 1.0], ["0", "25%", "50%", "75%", "100%"]
    axes.set_xticks(ticks, labels=labels)
    axes.set_yticks(ticks, labels=labels)
    frame(axes)

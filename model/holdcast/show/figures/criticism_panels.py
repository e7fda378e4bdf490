"""Residuals drawn on given axes: against one covariate, and by seabed. Knows nothing of pages."""

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.show.figures.panel import BAND, INK, SOFT, across_axis, frame, write_above
from holdcast.show.figures.paper import inches
from holdcast.show.text.numbers import format_share, on_screen
from holdcast.show.text.text_columns import plain
from holdcast.show.views.criticise.sentences import Criticism, change_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_residuals", "draw_seabeds", "title_texts", "write_title"]

_REACH = 3.6
_BAND_90 = 1.645
_OPEN = (1, 2)
"""Codes of ``kind`` of loads known from one side only."""

Numbers = NDArray[np.float64]


def draw_residuals(axes: "Axes", answer: Criticism, name: str, units: str, *, first: bool) -> None:
    """Draw one covariate's panel: a point a pull, the smooth with its band, zero and the 90% lines.

    Parameters
    ----------
    axes : matplotlib Axes
    answer : Criticism
    name : str
        The covariate.
    units : {"si", "us"}
        Of what pulls are looked at against.
    first : bool
        Whether it stands left in its row and carries the numbers of the upright axis.
    """
    trend, curve = answer.trends.sel(covariate=name), answer.smooth.sel(covariate=name)
    residuals = answer.residuals.sel(prediction=trend["prediction"].item())
    values = answer.covariates.sel(covariate=name).to_numpy()
    measured = np.isfinite(values)
    across = _on_screen(values[measured], trend, units)
    _points(
        axes, across, residuals["mean_residual"].to_numpy()[measured], residuals["kind"].to_numpy()[measured]
    )
    place = _on_screen(curve["across"].to_numpy(), trend, units)
    axes.fill_between(place, curve["low"], curve["high"], color=BAND, alpha=0.55, linewidth=0, zorder=3)
    axes.plot(place, curve["middle"].to_numpy(), color=INK, linewidth=1.6, zorder=4)
    logarithmic = bool(trend["logarithmic"])
    ends = _airy(float(across.min()), float(across.max()), logarithmic=logarithmic)
    across_axis(axes, ends, logarithmic=logarithmic)
    frame(axes)
    axes.set_ylim(-_REACH - 0.2, _REACH + 0.2)
    axes.set_yticks([-2, 0, 2], labels=["−2", "0", "2"] if first else [""] * 3)
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=1)
    for height in (-_BAND_90, _BAND_90):
        axes.axhline(height, color=SOFT, linewidth=0.7, linestyle="dotted", zorder=1)


def write_title(
    axes: "Axes", trend: xr.Dataset, units: str, size: tuple[float, float], points: float, *, narrow: bool
) -> None:
    """Write what a panel is about and what was found, directly above it; ``size`` of the axes in inches."""
    title, changes = title_texts(trend, units)
    rows = [
        (title, points, "bold"),
        *((text, points - 1.5, "normal") for text in (changes if narrow else ["; ".join(changes)])),
    ]
    shrunk = [
        (text, wanted * min(1.0, size[0] / inches(text, wanted, weight)), weight)
        for text, wanted, weight in rows
    ]
    write_above(axes, shrunk, size[1], gap=0.07)


def title_texts(trend: xr.Dataset, units: str) -> tuple[str, list[str]]:
    """Return what a panel is about, and what was found, shape by shape."""
    unit = on_screen(str(trend["unit"].item()), units)[0]
    name = plain(trend["covariate"].item()) + ("" if unit == "1" else f" [{unit}]")
    changes = [f"{shape} {_change(trend.sel(shape=shape))}" for shape in trend["shape"].to_numpy()]
    return f"{name}: {trend['prediction'].item()}", changes


def draw_seabeds(axes: "Axes", answer: Criticism, points: float, *, narrow: bool) -> None:
    """Draw a row a seabed: residuals of pulls left out, a bar as wide as they scatter, numbers beside it."""
    residuals, scatter = answer.residuals.isel(prediction=0), answer.scatter
    for row, name in enumerate(scatter["seabed"].values):
        here, own = scatter.sel(seabed=name), residuals["seabed"].to_numpy() == name
        middle = row + (0.72 if narrow else 0.5)
        residual, kind = residuals["residual"].to_numpy()[own], residuals["kind"].to_numpy()[own]
        # Spread out by position in the log, so that the same log gives the same picture.
        aside = 0.11 * ((np.arange(own.sum()) * 0.618) % 1.0 - 0.5) * 2.0
        if np.isfinite(float(here["ratio"])):
            reach = _BAND_90 * float(here["ratio"])
            axes.barh([middle], 2 * reach, left=-reach, height=0.4, color=BAND, alpha=0.55, zorder=1)
        _points(axes, residual, middle + aside, kind, clip_across=True)
        _row_text(axes, plain(name), here, row, points, narrow=narrow)
    axes.set_xlim(-_REACH - 0.2, _REACH + 0.2)
    axes.set_ylim(scatter.sizes["seabed"], 0)
    axes.set_yticks([])
    axes.set_xticks([-2, 0, 2], labels=["−2", "0", "2"])
    frame(axes)
    axes.axvline(0.0, color=SOFT, linewidth=0.8, zorder=1)
    for place in (-_BAND_90, _BAND_90):
        axes.axvline(place, color=SOFT, linewidth=0.7, linestyle="dotted", zorder=1)


def _points(
    axes: "Axes", across: Numbers, up: Numbers, kind: NDArray[np.int64], *, clip_across: bool = False
) -> None:
    """Draw pulls, hollow where the load is known from one side; those far out stand at the edge."""
    far = np.clip(across if clip_across else up, -_REACH, _REACH)
    across, up = (far, up) if clip_across else (across, far)
    hollow = np.isin(kind, _OPEN)
    for pulls, face in ((~hollow, SOFT), (hollow, "white")):
        axes.plot(
            *(across[pulls], up[pulls]),
            linestyle="none",
            marker="o",
            markersize=2.6,
            markerfacecolor=face,
            markeredgecolor=SOFT,
            markeredgewidth=0.5,
            alpha=0.7,
            zorder=2,
        )


def _row_text(axes: "Axes", name: str, here: xr.Dataset, row: int, points: float, *, narrow: bool) -> None:
    numbers = "too few pulls to judge the scatter"
    if np.isfinite(float(here["ratio"])):
        ratio, low, high = (float(here[f"ratio{end}"]) for end in ("", "_low", "_high"))
        share, least, most = (format_share(float(here[f"outside{end}"])) for end in ("", "_low", "_high"))
        stars = ["*" if bool(here["shown"].sel(look=look)) else "" for look in ("spread", "tails")]
        numbers = f"spread {ratio:.2f} ({low:.2f} to {high:.2f}){stars[0]}; beyond {share}{stars[1]}"
        numbers += "" if narrow else f", usual {least} to {most}; {int(here['pulls'])} pulls"
    if narrow:
        room = 0.96 * axes.get_window_extent().width / axes.figure.dpi
        name = _cut_to(name, room, points - 1)
        for up, text, weight in ((0.2, name, "bold"), (0.42, numbers, "normal")):
            axes.text(
                *(-_REACH - 0.1, row + up, text),
                size=points - 1,
                weight=weight,
                color=INK,
                va="center",
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},  # no line runs through it
            )
        return
    place, room = axes.get_yaxis_transform(), 0.27 * axes.get_window_extent().width / axes.figure.dpi
    points = points * min(1.0, room / inches(name, points, "bold"))
    for across, text, size, weight in ((1.02, name, points, "bold"), (1.3, numbers, points - 1, "normal")):
        axes.text(
            *(across, row + 0.5, text),
            transform=place,
            size=size,
            weight=weight,
            color=INK,
            va="center_baseline",
        )


def _cut_to(name: str, room: float, points: float) -> str:
    """Return a bold name that is no wider than the room [inches], its end left out where it is longer."""
    if inches(name, points, "bold") <= room:
        return name
    while inches(f"{name}…", points, "bold") > room:
        name = name[:-1]
    return f"{name}…"


def _change(here: xr.Dataset) -> str:
    numbers = [float(here[f"factor{end}"]) for end in ("", "_low", "_high")]
    return change_text(numbers[0], numbers[1], numbers[2], stands_out=bool(here["shown"]))


def _on_screen(values: Numbers, trend: xr.Dataset, units: str) -> Numbers:
    """Return a covariate as a reader reads it: no logarithm, in the units shown."""
    plain_values = np.exp(values) if bool(trend["logarithmic"]) else values
    return plain_values / on_screen(str(trend["unit"].item()), units)[1]


def _airy(low: float, high: float, *, logarithmic: bool) -> tuple[float, float]:
    """Return the ends of an axis with a little air beyond what is drawn."""
    air = 0.04 * (high - low)
    return (low / 1.06, high * 1.06) if logarithmic else (low - air, high + air)

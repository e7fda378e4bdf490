"""The picture of sizes: one small panel a shape and seabed, capacity against mass with its widening bands."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.show.figures.layout import load_ticks, wrap_to
from holdcast.show.figures.panel import BAND, INK, RULE, SOFT, mark_unreliable
from holdcast.show.figures.plan import MARGIN, Line, height_of
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.layout import plain
from holdcast.show.text.numbers import load_unit, on_screen, to_screen_load
from holdcast.show.text.sentences import provenance_sentence, verdict_heading

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["save_sizes_figure", "sizes_figure"]

_WIDTH, _PANEL, _GAP, _LEFT, _TOP = 11.0, 1.05, 0.12, 0.75, 0.35


def sizes_figure(answer: xr.Dataset, units: str = "si", *, reliable: bool = True) -> "Figure":
    """Draw capacity against mass; both axes logarithmic and shared by all panels.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.sizes.sizes.sizes``.
    units : {"si", "us"}
    reliable : bool
        The verdict's ``ok``.
    """
    from holdcast.show.figures.paper import blank_figure, own_style, place_axes, write_lines

    with own_style():
        rows, columns = answer.sizes["shape"], answer.sizes["seabed"]
        single = answer.sizes["mass_kg"] == 1
        head, foot = _head(units, reliable, single=single), _lines(" ".join(CAUTIONS), 8.5)
        foot += _lines(provenance_sentence(answer.attrs), 8.5, colour=SOFT)
        top = MARGIN + height_of(head) + _TOP
        height = top + rows * (_PANEL + _GAP) + 0.35 + height_of(foot) + MARGIN
        figure = blank_figure(_WIDTH, height)
        write_lines(figure, head, MARGIN)
        width = min((_WIDTH - 2 * MARGIN - _LEFT) / columns - _GAP, 3.2)
        for i in range(rows):
            for j in range(columns):
                left, down = MARGIN + _LEFT + j * (width + _GAP), top + i * (_PANEL + _GAP)
                axes = place_axes(figure, left, down, width, _PANEL)
                _panel(axes, answer.isel(shape=i, seabed=j), answer, units)
                _label(axes, answer, i, j, width, first=j == 0, last=i == rows - 1)
                if not reliable:
                    mark_unreliable(axes, 8.5 * width)
        write_lines(figure, foot, top + rows * (_PANEL + _GAP) + 0.3)
        return figure


def save_sizes_figure(
    answer: xr.Dataset, folder: Path, units: str = "si", *, reliable: bool = True
) -> list[Path]:
    """Write the picture as ``sizes.svg`` and ``sizes.png``."""
    from holdcast.show.figures.paper import write_figure

    return write_figure(sizes_figure(answer, units, reliable=reliable), folder, "sizes")


def _lines(text: str, points: float, weight: str = "normal", colour: str = INK) -> list[Line]:
    from holdcast.show.figures.paper import broken_lines

    return broken_lines(text, _WIDTH, points, weight, colour)


def _head(units: str, reliable: bool, *, single: bool) -> list[Line]:
    how = (
        "Line: median; dark: 50% band; light: 90%. Between the upright lines: tested masses; outside them "
        "the median is dashed, an extrapolation, and everywhere where the shape was not pulled."
    )
    if single:
        how = (
            "Dot: median, hollow where the shape was not pulled or the mass lies outside those tested; dark: "
            "50% band; light: 90%. Upright lines, where they fall inside: the smallest and largest tested "
            "masses."
        )
    reading = (
        f"Capacity in {load_unit(units)} (up) against mass in {on_screen('kg', units)[0]} (across), both "
        f"logarithmic and the same in every panel. {how} Shape and the tip's share of the mass are kept."
    )
    mark = [] if reliable else _lines(verdict_heading(False), 15, "bold")
    return [*mark, *_lines("Capacity against size", 15, "bold"), *_lines(reading, 8.5, colour=SOFT)]


def _panel(axes: "Axes", cell: xr.Dataset, answer: xr.Dataset, units: str) -> None:
    mass = cell["mass_kg"].to_numpy() / on_screen("kg", units)[1]
    scale = to_screen_load(1.0, units)
    low, lower, middle, upper, high = (scale * cell["capacity_n"].transpose("quantile", "mass_kg")).to_numpy()
    axes.set(xscale="log", yscale="log", xlim=_across(mass))
    limits = scale * np.array(
        [float(answer["capacity_n"].min()) / 1.1, float(answer["capacity_n"].max()) * 1.1]
    )
    axes.set_ylim(*limits)
    if len(mass) == 1:  # a line through one point would not be seen
        axes.vlines(mass, low, high, color=BAND, alpha=0.35, linewidth=6)
        axes.vlines(mass, lower, upper, color=BAND, alpha=0.8, linewidth=6)
        pulled = bool(cell["tested"]) and str(cell["range"].item()) == "inside"
        axes.plot(
            mass, middle, color=INK, marker="o", markersize=3.5, markerfacecolor=INK if pulled else "white"
        )
    axes.fill_between(mass, low, high, color=BAND, alpha=0.35, linewidth=0)
    axes.fill_between(mass, lower, upper, color=BAND, alpha=0.8, linewidth=0)
    axes.plot(mass, middle, color=INK, linewidth=0.9, linestyle="dashed")
    # The tested range in this panel's own masses: mass over how many times the largest or smallest it is.
    ends = [float(mass[0] / cell["times_smallest"][0]), float(mass[0] / cell["times_largest"][0])]
    inside = np.unique(np.clip([*ends, *mass[(mass > ends[0]) & (mass < ends[1])]], mass[0], mass[-1]))
    if bool(cell["tested"]):
        axes.plot(
            inside, np.exp(np.interp(np.log(inside), np.log(mass), np.log(middle))), color=INK, linewidth=1.6
        )
    for end in ends:
        axes.axvline(end, color=SOFT, linewidth=0.5)
    axes.minorticks_off()
    ticks = {"x": load_ticks(*_across(mass), 4), "y": load_ticks(float(limits[0]), float(limits[1]), 4)}
    axes.set_xticks(ticks["x"], labels=[f"{tick:g}" for tick in ticks["x"]])
    axes.set_yticks(ticks["y"], labels=[f"{tick:g}" for tick in ticks["y"]])
    axes.grid(color=RULE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=6.5, color=SOFT, labelcolor=SOFT, length=2, pad=1.5)
    for spine in axes.spines.values():
        spine.set(color=RULE, linewidth=0.6)


def _across(mass: NDArray[np.float64]) -> tuple[float, float]:
    """Return the ends of the mass axis; a single mass stands in the middle of a range of its own."""
    return (mass[0] / 2.5, mass[0] * 2.5) if len(mass) == 1 else (mass[0], mass[-1])


def _label(
    axes: "Axes", answer: xr.Dataset, i: int, j: int, width: float, *, first: bool, last: bool
) -> None:
    if not first:
        axes.tick_params(labelleft=False)
    else:
        _write(axes, (-_LEFT / width, 0.5), answer["shape"].to_numpy()[i], _LEFT - 0.3, "center")
    if not last:
        axes.tick_params(labelbottom=False)
    if i == 0:
        _write(axes, (0.0, 1.05), answer["seabed"].to_numpy()[j], width, "bottom")


def _write(axes: "Axes", place: tuple[float, float], name: str, room: float, upright: str) -> None:
    """Write a name in bold beside or above the axes, broken to the room there is [inches]."""
    from holdcast.show.figures.paper import inches

    lines = wrap_to(plain(name), room, lambda part: inches(part, 8.5, "bold"))
    text, across = "\n".join(lines), axes.transAxes
    axes.text(*place, text, transform=across, size=8.5, weight="bold", color=INK, va=upright)

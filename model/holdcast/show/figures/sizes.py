"""The picture of sizes: one small panel a shape and seabed, capacity against mass with its widening bands."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.show.figures.panel import BAND, INK, RULE, SOFT, across_axis, frame, mark_unreliable
from holdcast.show.figures.paper import (
    foot_lines,
    free_height,
    head_lines,
    inches,
    open_page,
    own_style,
    place_axes,
    write_figure,
    write_in_sizes,
)
from holdcast.show.figures.picture_measures import (
    MARGIN,
    Format,
    Line,
    evenly,
    load_ticks,
    wrap_to,
)
from holdcast.show.figures.sheet import PictureSize
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.numbers import load_unit, on_screen, to_screen_load
from holdcast.show.text.sentences import provenance_sentence
from holdcast.show.text.text_columns import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["fixed_sizes_figures", "save_sizes_figure", "sizes_figure"]

_PANEL, _GAP, _LEFT, _TOP, _BELOW, _WIDEST = 1.05, 0.12, 0.75, 0.3, 0.3, 3.2
_LEAST_PANEL, _LEAST_WIDTH, _TALLEST = 0.75, 1.0, 1.6
"""Of panels in a picture of a fixed shape [inches]."""
_POINTS = 8.5
_CURVE = (
    "Line: median; dark: 50% band; light: 90%. Between the upright lines: tested masses. Outside them the "
    "median is dashed: extrapolated. It is dashed throughout where the shape was not pulled."
)
_ONE_MASS = (
    "Dot: median, hollow where the shape was not pulled or the mass lies outside those tested; dark: 50% "
    "band; light: 90%. Upright lines, where they fall inside: the smallest and largest tested masses."
)


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
    with own_style():
        form, rows = Format.wide(), answer.sizes["shape"]
        head, foot = _head_and_foot(form, answer, units, reliable=reliable)
        page = open_page(form, head, foot, _TOP + rows * (_PANEL + _GAP) + _BELOW)
        return _with_panels(form, page, answer, answer, units, _PANEL, reliable=reliable)


def fixed_sizes_figures(
    answer: xr.Dataset, size: PictureSize, units: str = "si", *, reliable: bool = True
) -> "list[Figure]":
    """Draw the same in a fixed shape, seabeds by seabeds and within these designs by designs."""
    form = Format.fixed(size)
    with own_style():
        head, foot = _head_and_foot(form, answer, units, reliable=reliable, part=" (10/10)")
        free = free_height(form, head, foot) - _TOP - _BELOW
        rows = evenly(answer.sizes["shape"], max(int(free / (_LEAST_PANEL + _GAP)), 1))
        columns = evenly(answer.sizes["seabed"], max(int((form.room - _LEFT) / (_LEAST_WIDTH + _GAP)), 1))
        places = [(across, down) for across in columns for down in rows]
        figures = []
        for number, (across, down) in enumerate(places, start=1):
            shown = answer.isel(shape=down, seabed=across)
            part = f" ({number}/{len(places)})" if len(places) > 1 else ""
            head, foot = _head_and_foot(form, answer, units, reliable=reliable, part=part)
            page = open_page(form, head, foot, 0.0)
            height = min(free / shown.sizes["shape"] - _GAP, _TALLEST)
            figures.append(_with_panels(form, page, shown, answer, units, height, reliable=reliable))
        return figures


def _head_and_foot(
    form: Format, answer: xr.Dataset, units: str, *, reliable: bool, part: str = ""
) -> tuple[list[Line], list[Line]]:
    return (
        head_lines(form, f"Capacity against size{part}", _reading(answer, units), reliable=reliable),
        foot_lines(form, (" ".join(CAUTIONS), provenance_sentence(answer.attrs))),
    )


def _with_panels(
    form: Format,
    page: "tuple[Figure, float]",
    shown: xr.Dataset,
    whole: xr.Dataset,
    units: str,
    height: float,
    *,
    reliable: bool,
) -> "Figure":
    """Draw the panels that a page shows, on the axes of the whole answer."""
    figure, begin = page
    rows, columns = shown.sizes["shape"], shown.sizes["seabed"]
    width = min((form.room - _LEFT) / columns - _GAP, _WIDEST)
    for i in range(rows):
        for j in range(columns):
            left = MARGIN + _LEFT + j * (width + _GAP)
            axes = place_axes(figure, left, begin + _TOP + i * (height + _GAP), width, height)
            _panel(axes, shown.isel(shape=i, seabed=j), whole, units)
            _label(axes, shown, i, j, width)
            if not reliable:
                mark_unreliable(axes, min(8.5 * width, 40.0))
    return figure


def save_sizes_figure(
    answer: xr.Dataset,
    folder: Path,
    units: str = "si",
    *,
    reliable: bool = True,
    sizes: Sequence[PictureSize] = (),
) -> list[Path]:
    """Write the picture as ``sizes.svg`` and ``sizes.png``, and in the fixed shapes asked for."""

    def fixed(size: PictureSize) -> "list[Figure]":
        return fixed_sizes_figures(answer, size, units, reliable=reliable)

    whole = write_figure(sizes_figure(answer, units, reliable=reliable), folder, "sizes")
    return [*whole, *write_in_sizes(fixed, folder, "sizes", sizes)]


def _reading(answer: xr.Dataset, units: str) -> tuple[str, str, str]:
    return (
        f"Capacity in {load_unit(units)} (up) against mass in {on_screen('kg', units)[0]} (across), both "
        "logarithmic and the same in every panel.",
        _ONE_MASS if answer.sizes["mass_kg"] == 1 else _CURVE,
        "The shape stays the same at every mass, and so does the tip's share of it.",
    )


def _panel(axes: "Axes", cell: xr.Dataset, answer: xr.Dataset, units: str) -> None:
    mass = cell["mass_kg"].to_numpy() / on_screen("kg", units)[1]
    scale = to_screen_load(1.0, units)
    bands = (scale * cell["capacity_n"].transpose("quantile", "mass_kg")).to_numpy()
    limits = (
        scale * float(answer["capacity_n"].min()) / 1.1,
        scale * float(answer["capacity_n"].max()) * 1.1,
    )
    # The tested range in this panel's own masses: mass over how many times the largest or smallest it is.
    ends = (float(mass[0] / cell["times_smallest"][0]), float(mass[0] / cell["times_largest"][0]))
    if len(mass) == 1:  # a line through one point would not be seen
        _bands_of_one(
            axes, mass, bands, filled=bool(cell["tested"]) and str(cell["range"].item()) == "inside"
        )
    else:
        _curve(axes, mass, bands, ends if bool(cell["tested"]) else None)
    for end in ends:
        axes.axvline(end, color=SOFT, linewidth=0.5)
    axes.set(yscale="log", ylim=limits)
    across_axis(axes, _across(mass), logarithmic=True)
    axes.minorticks_off()
    ticks = load_ticks(*limits, 4)
    axes.set_yticks(ticks, labels=[f"{tick:g}" for tick in ticks])
    axes.hlines(ticks, *_across(mass), colors=RULE, linewidths=0.5, zorder=0)
    axes.vlines(axes.get_xticks(), *limits, colors=RULE, linewidths=0.5, zorder=0)
    frame(axes)


def _curve(
    axes: "Axes", mass: NDArray[np.float64], bands: NDArray[np.float64], tested: tuple[float, float] | None
) -> None:
    """Draw bands and median against mass; the median full between the ends of the tested masses."""
    low, lower, middle, upper, high = bands
    axes.fill_between(mass, low, high, color=BAND, alpha=0.35, linewidth=0)
    axes.fill_between(mass, lower, upper, color=BAND, alpha=0.8, linewidth=0)
    axes.plot(mass, middle, color=INK, linewidth=0.9, linestyle="dashed")
    if tested is not None:
        within = mass[(mass > tested[0]) & (mass < tested[1])]
        inside = np.unique(np.clip([*tested, *within], mass[0], mass[-1]))
        full = np.exp(np.interp(np.log(inside), np.log(mass), np.log(middle)))
        axes.plot(inside, full, color=INK, linewidth=1.6)


def _bands_of_one(
    axes: "Axes", mass: NDArray[np.float64], bands: NDArray[np.float64], *, filled: bool
) -> None:
    low, lower, middle, upper, high = bands
    axes.vlines(mass, low, high, color=BAND, alpha=0.35, linewidth=6)
    axes.vlines(mass, lower, upper, color=BAND, alpha=0.8, linewidth=6)
    face = INK if filled else "white"
    axes.plot(mass, middle, color=INK, marker="o", markersize=3.5, markerfacecolor=face)


def _across(mass: NDArray[np.float64]) -> tuple[float, float]:
    """Return the ends of the mass axis; a single mass stands in the middle of a range of its own."""
    return (mass[0] / 2.5, mass[0] * 2.5) if len(mass) == 1 else (mass[0], mass[-1])


def _label(axes: "Axes", answer: xr.Dataset, i: int, j: int, width: float) -> None:
    """Name the shape beside its first panel and the seabed above its first; number the outer axes alone."""
    if j == 0:
        _write(axes, (-_LEFT / width, 0.5), answer["shape"].to_numpy()[i], _LEFT - 0.3, "center")
    else:
        axes.tick_params(labelleft=False)
    if i < answer.sizes["shape"] - 1:
        axes.tick_params(labelbottom=False)
    if i == 0:
        _write(axes, (0.0, 1.05), answer["seabed"].to_numpy()[j], width, "bottom")


def _write(axes: "Axes", place: tuple[float, float], name: str, room: float, upright: str) -> None:
    """Write a name in bold beside or above the axes, broken to the room there is [inches]."""
    lines = wrap_to(plain(name), room, lambda part: inches(part, _POINTS, "bold"))
    text, across = "\n".join(lines), axes.transAxes
    axes.text(*place, text, transform=across, size=_POINTS, weight="bold", color=INK, va=upright)

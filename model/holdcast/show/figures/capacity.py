"""The one picture a tester would publish: every anchor, every seabed, bands."""

import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.figures.intervals import interval_figure
from holdcast.show.figures.paper import svg_text, write_figure
from holdcast.show.figures.sheet import TESTED_KEY, Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.cell_rows import cell_rows, name_order, seabed_label, seldom_sets
from holdcast.show.text.numbers import format_chance, load_unit, to_screen_load
from holdcast.show.text.plain_table import each_row
from holdcast.show.text.sentences import ORDER_NOTE, provenance_sentence
from holdcast.show.text.text_columns import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["anchor_pages", "capacity_figure", "capacity_sheet", "figure_svgs", "save_figures"]

_ANCHORS_A_PAGE = 45  # rows of a printed page that stay readable
_SHAPES = {
    "seldom": "triangle: sets in fewer than four of five pulls",
    "never_set": "cross: never set here",
}


def capacity_sheet(
    cells: xr.Dataset,
    units: str = "si",
    *,
    reliable: bool = True,
    limits_n: tuple[float, float] | None = None,
    part: str = "",
) -> Sheet:
    """Return the capacity of every anchor in every seabed with its 50% and 90% bands, a panel a seabed.

    Parameters
    ----------
    cells : xarray.Dataset
        Dims ``anchor``, ``seabed``, ``quantile``, loads in N, as from ``holdcast.answers.cells.cells``.
    units : {"si", "us"}, default "si"
        kN or lbf.
    reliable : bool, default True
        The verdict's ``ok``; when false, the figure and every panel are marked unreliable.
    limits_n : (float, float), optional
        Ends of the load axis [N], so that several figures share it; by default those of ``cells``.
    part : str, optional
        Which part of the campaign this is, such as "Anchors 1 to 38 of 150."; stands under the title.

    Raises
    ------
    ValueError
        When a capacity comes without its band, or the units are unknown.
    """
    table = cell_rows(cells)
    table["seldom"] = seldom_sets(table)
    low, high = (to_screen_load(end, units) for end in limits_n or _load_limits(cells))
    first = table[table["seabed"] == table["seabed"].iloc[0]]
    outside = [(None, "*: outside what was tested")] if (table["range"] == "outside").any() else []
    setting = [(None, text) for name, text in _SHAPES.items() if table[name].any()]
    return Sheet(
        title="Holding capacity in test pulls",
        subtitle=plain(cells.attrs.get("title", "")),
        reading=(
            f"Load at the anchor in {load_unit(units)}, logarithmic scale, the same in every panel.",
            part,
        ),
        key=(*TESTED_KEY, (None, "dot: median; bar: 50% band; line: 90% band"), *setting, *outside),
        headings=first["form"].tolist(),
        names=first["anchor"].tolist(),
        panels=[_panel(rows, units) for _, rows in table.groupby("seabed", sort=False)],
        limits=(low, high),
        logarithmic=True,
        note_heading="pulls",
        order=ORDER_NOTE,
        foot=(" ".join(CAUTIONS), provenance_sentence(cells.attrs)),
        reliable=reliable,
        note_width=0.92 if table["seldom"].any() else 0.6 if table["never_set"].any() else 0.38,
    )


def _panel(rows: pd.DataFrame, units: str) -> Panel:
    marks, notes = [], []
    for row in each_row(rows):
        low, lower, middle, upper, high = (
            to_screen_load(load, units)
            for load in (
                *(row.capacity_n_q05, row.capacity_n_q25, row.capacity_n_q50),
                *(row.capacity_n_q75, row.capacity_n_q95),
            )
        )
        shape = "cross" if row.never_set else "triangle" if row.seldom else "dot"
        marks.append([Mark(low, high, middle, lower, upper, filled=row.evidence == "tested", shape=shape)])
        # No pull reads "none", so that untested cells are told apart by a word as well.
        pulls = "never set" if row.never_set else str(row.pulls) if row.pulls else "none"
        chance = f", sets {format_chance(row.sets_q50)}" if row.seldom else ""
        notes.append(pulls + chance + ("*" if row.range == "outside" else ""))
    first = rows.iloc[0]
    ground = seabed_label(plain(first["soil"]), plain(first["strength"]))
    return Panel(str(first["seabed"]), marks, notes, ground)


def _load_limits(cells: xr.Dataset) -> tuple[float, float]:
    """Return the lowest and highest end of any 90% band with a little air [N]."""
    capacity = cells["capacity_n"].sel(quantile=[0.05, 0.95], method="nearest")
    return float(capacity.min()) / 1.12, float(capacity.max()) * 1.12


def anchor_pages(cells: xr.Dataset) -> list[xr.Dataset]:
    """Split the cells into pages of about equally many anchors, in order of form and name.

    Parameters
    ----------
    cells : xarray.Dataset
        With dim ``anchor`` and coordinate ``form(anchor)``.
    """
    keys = [
        (form, name_order(str(anchor)))
        for form, anchor in zip(cells["form"].to_numpy(), cells["anchor"].to_numpy(), strict=True)
    ]
    order = sorted(range(len(keys)), key=keys.__getitem__)
    pages = math.ceil(len(order) / _ANCHORS_A_PAGE)
    return [cells.isel(anchor=part) for part in np.array_split(np.array(order), pages)]


def capacity_figure(
    cells: xr.Dataset,
    units: str = "si",
    *,
    narrow: bool = False,
    reliable: bool = True,
    limits_n: tuple[float, float] | None = None,
    part: str = "",
) -> "Figure":
    """Draw :func:`capacity_sheet`, which see; ``narrow`` for a phone, about 390 CSS pixels wide."""
    sheet = capacity_sheet(cells, units, reliable=reliable, limits_n=limits_n, part=part)
    return interval_figure(sheet, narrow=narrow)


def _page_figures(cells: xr.Dataset, units: str, *, narrow: bool, reliable: bool) -> Iterator["Figure"]:
    """One figure a page of anchors, all with the load axis of the whole campaign."""
    limits, pages, total = _load_limits(cells), anchor_pages(cells), cells.sizes["anchor"]
    first = 1
    for page in pages:
        last = first + page.sizes["anchor"] - 1
        part = f"Anchors {first} to {last} of {total}." if len(pages) > 1 else ""
        first = last + 1
        yield capacity_figure(page, units, narrow=narrow, reliable=reliable, limits_n=limits, part=part)


def figure_svgs(cells: xr.Dataset, units: str = "si", *, reliable: bool = True) -> list[tuple[str, str]]:
    """Return the capacity figure as SVG text: for each page of anchors a wide and a narrow one.

    Parameters
    ----------
    cells, units, reliable
        As in `capacity_sheet`.
    """
    wide, narrow = (
        [svg_text(figure) for figure in _page_figures(cells, units, narrow=narrow, reliable=reliable)]
        for narrow in (False, True)
    )
    return list(zip(wide, narrow, strict=True))


def save_figures(cells: xr.Dataset, folder: Path, units: str = "si", *, reliable: bool = True) -> list[Path]:
    """Write the capacity figure as PNG and SVG, wide and narrow; the same cells give the same bytes.

    Parameters
    ----------
    cells, units, reliable
        As in `capacity_sheet`.
    folder : Path
        Made when it is missing. Files are ``capacity.svg``, ``capacity-narrow.svg`` and the like; with many
        anchors ``capacity-1.svg``, ``capacity-2.svg`` and so on, by pages of anchors.

    Returns
    -------
    list of Path
        What was written.
    """
    written = []
    for suffix, narrow in (("", False), ("-narrow", True)):
        figures = list(_page_figures(cells, units, narrow=narrow, reliable=reliable))
        for number, figure in enumerate(figures, start=1):
            page = f"-{number}" if len(figures) > 1 else ""
            written += write_figure(figure, folder, f"capacity{suffix}{page}")
    return written

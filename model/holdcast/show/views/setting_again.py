"""The picture of setting again after a reversal, and beside it of what a turn under load leaves."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.show.figures.sheet import Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.cell_rows import cell_rows
from holdcast.show.text.sentences import BY_FORM_AND_NAME, provenance_sentence
from holdcast.show.text.text_columns import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["save_setting_again", "setting_again_sheet", "setting_again_svgs"]

_QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
_TESTS = {"resets": "reset_attempts", "veer_kept": "veers"}
"""Each share, and the count of the tests that tell of it."""
_ABOUT = {"resets": "sets again, %", "veer_kept": "kept in a turn, %"}
_MEANING = {
    "resets": "Sets again: chance that the anchor digs in again after a reversal of 180°.",
    "veer_kept": "Kept in a turn: share of a straight pull's capacity left after a turn of 180° under load.",
}


def setting_again_sheet(cells: xr.Dataset, *, reliable: bool = True, part: str = "") -> Sheet | None:
    """Return each anchor's chance of setting again and kept share and their bands, a panel a seabed.

    Parameters
    ----------
    cells : Dataset
        Dims ``anchor``, ``seabed``, ``quantile``, as from ``holdcast.answers.cells.cells``.
    reliable : bool, default True
        The verdict's ``ok``.
    part : str, optional
        Which part of the campaign this is.

    Returns
    -------
    Sheet or None
        None where the log holds neither resets nor veers.  A seabed without such tests is left out.
    """
    tried = {
        kind: [str(name) for name in cells["seabed"].to_numpy()[_any_test(cells, kind)]]
        for kind in _TESTS
        if kind in cells
    }
    kinds = [kind for kind, seabeds in tried.items() if seabeds]
    if not kinds:
        return None
    rows = cell_rows(cells.isel(seabed=[0]))
    return Sheet(
        title="Setting again, and what a turn leaves" if len(kinds) > 1 else _title(kinds[0]),
        subtitle=plain(cells.attrs.get("title", "")),
        reading=(*(_MEANING[kind] for kind in kinds), part),
        key=(
            (True, "tried here"),
            (False, "predicted, nobody tried"),
            (None, "dot: median; bar: 50% band; line: 90% band"),
        ),
        headings=rows["form"].tolist(),
        names=rows["anchor"].tolist(),
        panels=[_panel(cells, rows["anchor"], seabed, kind) for kind in kinds for seabed in tried[kind]],
        limits=(0.0, 100.0),
        ticks=(0.0, 25.0, 50.0, 75.0, 100.0),
        logarithmic=False,
        note_heading="in the log",
        order=BY_FORM_AND_NAME,
        foot=(_how_noted(kinds) + " ".join(CAUTIONS), provenance_sentence(cells.attrs)),
        reliable=reliable,
        note_width=0.62,
    )


def _any_test(cells: xr.Dataset, kind: str) -> NDArray[np.bool_]:
    """Tell for each seabed whether the log holds such tests there."""
    return np.asarray((cells[_TESTS[kind]] > 0).any("anchor").to_numpy())


def _title(kind: str) -> str:
    return "Setting again after a reversal" if kind == "resets" else "What a turn under load leaves"


def _how_noted(kinds: list[str]) -> str:
    texts = {
        "resets": "4 of 5: so many attempts set again and held the load they were judged by. ",
        "veer_kept": "A number alone: veers. ",
    }
    noted = "".join(texts[kind] for kind in kinds)
    return f"{noted}Seabeds without such tests are left out here; their shares stand in cells.csv. "


def _panel(cells: xr.Dataset, anchors: pd.Series, seabed: str, kind: str) -> Panel:
    here = cells.sel(seabed=seabed)
    bands = 100.0 * here[kind].sel(quantile=list(_QUANTILES), method="nearest", tolerance=1e-9)
    count = here[_TESTS[kind]]
    marks, notes = [], []
    for anchor in anchors:
        tests = int(count.sel(anchor=anchor))
        low, lower, middle, upper, high = bands.sel(anchor=anchor).transpose("quantile").to_numpy().tolist()
        marks.append([Mark(low, high, middle, lower, upper, filled=tests > 0)])
        note = (
            f"{int(here['reset_successes'].sel(anchor=anchor))} of {tests}"
            if kind == "resets"
            else str(tests)
        )
        notes.append(note if tests else "none")
    return Panel(seabed, marks, notes, _ABOUT[kind])


def _figures(cells: xr.Dataset, *, narrow: bool, reliable: bool) -> Iterator["Figure"]:
    """One figure a page of anchors; none where the log holds no such tests."""
    from holdcast.show.figures.capacity import anchor_pages
    from holdcast.show.figures.intervals import interval_figure

    pages, first = anchor_pages(cells), 1
    for page in pages:
        last = first + page.sizes["anchor"] - 1
        part = f"Anchors {first} to {last} of {cells.sizes['anchor']}." if len(pages) > 1 else ""
        first = last + 1
        sheet = setting_again_sheet(page, reliable=reliable, part=part)
        if sheet is not None:
            yield interval_figure(sheet, narrow=narrow)


def setting_again_svgs(cells: xr.Dataset, *, reliable: bool = True) -> list[tuple[str, str]]:
    """Return the picture as SVG text, a wide and a narrow one a page of anchors; none without such tests."""
    from holdcast.show.figures.paper import svg_text

    wide, narrow = (
        [svg_text(figure) for figure in _figures(cells, narrow=narrow, reliable=reliable)]
        for narrow in (False, True)
    )
    return list(zip(wide, narrow, strict=True))


def save_setting_again(cells: xr.Dataset, folder: Path, *, reliable: bool = True) -> list[Path]:
    """Write the picture as PNG and SVG, wide and narrow: ``setting_again.svg`` and the like.

    Returns
    -------
    list of Path
        What was written; none where the log holds neither resets nor veers.
    """
    from holdcast.show.figures.paper import write_figure

    written: list[Path] = []
    for suffix, narrow in (("", False), ("-narrow", True)):
        figures = list(_figures(cells, narrow=narrow, reliable=reliable))
        for number, figure in enumerate(figures, start=1):
            page = f"-{number}" if len(figures) > 1 else ""
            written += write_figure(figure, folder, f"setting_again{suffix}{page}")
    return written

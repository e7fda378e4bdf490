"""The picture of all-rounders: each anchor's efficiency over all seabeds beside the tester's threshold."""

from collections.abc import Sequence
from pathlib import Path

import xarray as xr

from holdcast.show.figures.sheet import Mark, Panel, PictureSize, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.cell_rows import name_order
from holdcast.show.text.numbers import format_chance
from holdcast.show.text.sentences import BY_FORM_AND_NAME, provenance_sentence
from holdcast.show.text.text_columns import plain

__all__ = ["HOW_TO_READ_ALL_ROUNDERS", "all_rounder_sheet", "save_all_rounder"]

HOW_TO_READ_ALL_ROUNDERS = (
    "Efficiency: capacity of an anchor that set, over its weight. Dot, bar and line: its least efficiency of "
    "all seabeds, taken draw by draw. Short strokes above them: its median in each seabed."
)
_QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


def all_rounder_sheet(answer: xr.Dataset, *, reliable: bool = True) -> Sheet:
    """Return the picture: a row an anchor, the threshold upright, the chance that all seabeds exceed it.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.rank.all_rounder``.
    reliable : bool, default True
        The verdict's ``ok``.
    """
    forms = answer["form"].to_numpy().tolist()
    names = [str(name) for name in answer["anchor"].to_numpy()]
    order = sorted(range(len(names)), key=lambda place: (forms[place], name_order(names[place])))
    rows = answer.isel(anchor=order)
    marks = [(_mark(rows.isel(anchor=place)),) for place in range(len(order))]
    left_out = str(answer.attrs["left_out"])
    threshold = float(answer.attrs["efficiency"])
    ends = [
        *(end for (mark,) in marks for end in (mark.low, mark.high, *mark.strokes)),
        threshold,
    ]
    return Sheet(
        title=f"All-rounders: efficiency above {threshold:g} in every seabed?",
        subtitle=plain(answer.attrs.get("title", "")),
        reading=(
            HOW_TO_READ_ALL_ROUNDERS,
            f"Upright line: {threshold:g}. Numbers on the right: chance that every one of "
            f"{answer.sizes['seabed']} seabeds exceeds it, the chance that the anchor sets counted.",
            f"Left out: {left_out}." if left_out else "",
        ),
        key=(
            (True, "pulled in every seabed"),
            (False, "predicted in some"),
            (None, "dot: median; bar: 50% band; line: 90% band"),
        ),
        headings=[forms[place] for place in order],
        names=[names[place] for place in order],
        panels=[Panel("", marks, [format_chance(float(chance)) for chance in rows["p_every"]])],
        limits=(min(ends) / 1.1, max(ends) * 1.1),
        logarithmic=True,
        reference=threshold,
        note_heading="all above",
        order=BY_FORM_AND_NAME,
        foot=(" ".join(CAUTIONS), provenance_sentence(answer.attrs)),
        reliable=reliable,
        note_width=0.6,
    )


def _mark(anchor: xr.Dataset) -> Mark:
    band = anchor["least_efficiency"].sel(quantile=list(_QUANTILES), method="nearest", tolerance=1e-9)
    low, lower, middle, upper, high = band.to_numpy().tolist()
    return Mark(
        *(low, high, middle, lower, upper),
        filled=bool(anchor["tested"].all()),
        strokes=tuple(anchor["median_efficiency"].to_numpy().tolist()),
    )


def save_all_rounder(
    answer: xr.Dataset, folder: Path, *, reliable: bool = True, sizes: Sequence[PictureSize] = ()
) -> list[Path]:
    """Write the picture as ``all_rounder.svg`` and ``all_rounder.png``, and in the fixed shapes asked for."""
    from holdcast.show.figures.intervals import save_figure

    return save_figure(all_rounder_sheet(answer, reliable=reliable), folder, "all_rounder", sizes)

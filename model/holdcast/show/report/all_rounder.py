"""All-rounders on the page: the chance that every seabed exceeds the threshold, and the least efficiency."""

from collections.abc import Sequence

import xarray as xr

from holdcast.show.text.cell_rows import words
from holdcast.show.text.numbers import format_chance, format_efficiency

__all__ = ["all_rounder_content"]


def all_rounder_content(answer: xr.Dataset | None, order: Sequence[str]) -> dict[str, object] | None:
    """Return the rows of the page's table as text; None where the tester has no threshold.

    Parameters
    ----------
    answer : Dataset, optional
        As from ``holdcast.answers.rank.all_rounder``.
    order : sequence of str
        Anchors in the order in which the page shows them.
    """
    if answer is None:
        return None
    return {
        "threshold": format_efficiency(float(answer.attrs["efficiency"])),
        "line": f"{float(answer.attrs['efficiency']):g}",
        "seabeds": answer.sizes["seabed"],
        "rows": [_row(answer.sel(anchor=name), name) for name in order],
    }


def _row(anchor: xr.Dataset, name: str) -> dict[str, object]:
    low, median, high = (
        format_efficiency(float(anchor["least_efficiency"].sel(quantile=quantile, method="nearest")))
        for quantile in (0.05, 0.5, 0.95)
    )
    hardest = str(anchor["median_efficiency"].idxmin("seabed").item())
    untested = int((~anchor["tested"]).sum())
    return {
        "anchor": name,
        "form": words(str(anchor["form"].item())),
        "chance": format_chance(float(anchor["p_every"])),
        "least": f"{median} ({low} to {high})",
        "hardest": hardest if bool(anchor["tested"].sel(seabed=hardest)) else f"[{hardest}]",
        "untested": f"untested in {untested}" if untested else "",
    }

"""The pictures of a fit for films and web pages, and the one of all-rounders."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from holdcast.capacity.fitting import Fit

if TYPE_CHECKING:
    import xarray as xr

    from holdcast.show.figures.sheet import PictureSize

__all__ = ["all_rounder_of", "save_all_rounders", "save_pictures_in_sizes"]


def all_rounder_of(fit: Fit) -> "xr.Dataset | None":
    """Return how anchors do over all seabeds beside the tester's threshold; None where there is none."""
    from holdcast.answers.rank.all_rounder import all_rounder

    threshold = json.loads(str(fit.tree.attrs["thresholds"])).get("efficiency")
    return None if threshold is None else all_rounder(fit, float(threshold))


def save_all_rounders(fit: Fit, folder: Path, sizes: "Sequence[PictureSize]" = ()) -> list[Path]:
    """Draw the all-rounders where the tester has a threshold; return what was written."""
    from holdcast.show.views.all_rounder import save_all_rounder

    answer = all_rounder_of(fit)
    return [] if answer is None else save_all_rounder(answer, folder, reliable=fit.verdict.ok, sizes=sizes)


def save_pictures_in_sizes(
    fit: Fit, table: "xr.Dataset", folder: Path, units: str, sizes: "Sequence[PictureSize]"
) -> list[Path]:
    """Draw in fixed shapes what a fit draws: capacity, setting again, all-rounders.

    Parameters
    ----------
    fit : Fit
    table : Dataset
        Its cells.
    folder : Path
    units : {"si", "us"}
    sizes : sequence of {"wide", "square", "phone"}
    """
    from holdcast.show.figures.capacity import capacity_sheet
    from holdcast.show.figures.fixed.sheets import save_fixed
    from holdcast.show.views.setting_again import setting_again_sheet

    reliable = fit.verdict.ok
    written = save_fixed(capacity_sheet(table, units, reliable=reliable), folder, "capacity", sizes)
    again = setting_again_sheet(table, reliable=reliable)
    if again is not None:
        written += save_fixed(again, folder, "setting_again", sizes)
    return [*written, *save_all_rounders(fit, folder, sizes)]

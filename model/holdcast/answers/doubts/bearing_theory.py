"""Doubts about cells whose whole band is beyond what bearing theory allows."""

import xarray as xr

from holdcast.answers.doubts.result_doubt import ResultDoubt
from holdcast.capacity.fitting import Fit
from holdcast.physics.tackle.reasonableness import capacity_doubt

__all__ = ["theory_doubts"]


def theory_doubts(fit: Fit, cells: xr.Dataset) -> list[ResultDoubt]:
    """Return a doubt for each such cell; anchors whose area was not measured cannot be judged.

    Parameters
    ----------
    fit : Fit
    cells : Dataset
        The fit's cells, dims (anchor, seabed, quantile).
    """
    areas = fit.tree["anchors"].to_dataset()["fluke_area_m2"].to_series().dropna()
    ends = cells["capacity_n"].sel(anchor=list(areas.index), quantile=[0.05, 0.95])
    doubts = []
    for seabed, ground in fit.tree["seabeds"].to_dataset().to_dataframe().iterrows():
        bands = ends.sel(seabed=seabed).transpose("anchor", "quantile").to_numpy()
        for (anchor, area), (low, high) in zip(areas.items(), bands, strict=True):
            reason = capacity_doubt(
                str(ground["soil"]),
                str(ground["strength"]),
                str(ground["strength_scheme"]) or "iso_14688_2",
                (float(low), float(high)),
                float(area),
                undrained_strength_kpa=float(ground["undrained_strength_kpa"]),
                friction_angle_deg=float(ground["friction_angle_deg"]),
            )
            if reason:
                advice = "look at the area, the strength class and the readings of this cell"
                doubts.append(ResultDoubt(f"{anchor} in {seabed}", reason, advice))
    return doubts

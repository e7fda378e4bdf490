"""One cell in short: its capacity, what stands behind it, its width without its own pulls."""

import numpy as np
import xarray as xr

from holdcast.answers.cells.own_data import without_own_pulls
from holdcast.answers.draws.samples import BANDS, band
from holdcast.answers.explain.influence import cell_draws
from holdcast.capacity.fitting import Fit

__all__ = ["explain"]


def explain(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Return what is known of one cell.

    Parameters
    ----------
    fit : Fit
    anchor, seabed : str
        The cell.

    Returns
    -------
    Dataset, dim quantile
        ``capacity_n`` (quantile) [N]; ``sd`` and ``sd_without`` [log N]: spread of log capacity with and
        without the cell's own pulls, see :mod:`holdcast.answers.cells.own_data`; ``sd_without_pareto_k`` [1]:
        above 0.7 ``sd_without`` is only roughly known; ``pulls`` and ``visits`` used.

    Attributes
    ----------
        ``anchor``, ``seabed``.  Where the pulls moved the middle as well, only the width is told.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    draws = cell_draws(fit, anchor, seabed)
    spread = without_own_pulls(fit).sel(anchor=anchor, seabed=seabed)
    told = fit.inputs
    own = (told["anchor"].isel(anchor=told["anchor_of"]) == anchor).to_numpy()
    own &= (told["seabed"].isel(seabed=told["seabed_of"]) == seabed).to_numpy()
    made = xr.Dataset(
        {
            "capacity_n": band(xr.DataArray(np.exp(draws)), BANDS),
            "sd": spread["sd_all"].reset_coords(drop=True),
            "sd_without": spread["sd_without"].reset_coords(drop=True),
            "sd_without_pareto_k": spread["pareto_k"].reset_coords(drop=True),
            "pulls": int(own.sum()),
            "visits": len(np.unique(told["visit_of"].to_numpy()[own])),
        },
        attrs={"anchor": anchor, "seabed": seabed},
    )
    made["capacity_n"].attrs = {"units": "N", "long_name": "capacity"}
    for name in ("pulls", "visits"):
        made[name].attrs = {"units": "1", "long_name": f"{name} used"}
    return made

"""What draws know of the spots of tests: all of a shared one, of a lone one only its instrument's error."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

__all__ = ["known_spots"]


def known_spots(draws: xr.Dataset, inputs: xr.Dataset, spot_of: NDArray[np.int64]) -> xr.DataArray:
    """Return what is known of the spot of each test [log N], dims (chain, draw, test).

    Parameters
    ----------
    draws : Dataset
        Posterior draws, dims (chain, draw, …).
    inputs : Dataset
        What the model was told.
    spot_of : array, shape (test,)
        Position of each test's spot.
    """
    alone = inputs["spot_alone"].to_numpy() > 0
    error = _instrument_error(draws, inputs, spot_of)
    if alone.all():
        return error
    at = (np.cumsum(~alone) - 1).clip(min=0)[spot_of]
    effect = draws["spot_effect"].isel(shared_spot=xr.DataArray(at, dims="test"))
    return effect.where(xr.DataArray(~alone[spot_of], dims="test"), error).drop_vars(
        "shared_spot", errors="ignore"
    )


def _instrument_error(draws: xr.Dataset, inputs: xr.Dataset, spot_of: NDArray[np.int64]) -> xr.DataArray:
    """Return the error of the instruments that read each test's spot [log N]; 0 where none is out."""
    if not inputs.sizes.get("instrument", 0):
        sizes = (draws.sizes["chain"], draws.sizes["draw"], len(spot_of))
        return xr.DataArray(np.zeros(sizes), dims=("chain", "draw", "test"))
    share = inputs["instrument_share"].isel(spot=xr.DataArray(spot_of, dims="test"))
    error: xr.DataArray = xr.dot(draws["instrument_error"], share, dim="instrument")
    return error.drop_vars("spot", errors="ignore")

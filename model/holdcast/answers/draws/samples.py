"""Small tools on draws: one sample dim, equal-tailed bands, the nearest name for a wrong label."""

from collections.abc import Sequence

import numpy as np
import xarray as xr

from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.labels import positions

__all__ = ["BANDS", "BAND_90", "band", "know", "pulls", "samples"]

BANDS = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Quantiles of the 90% band, the 50% band and the median; all equal-tailed."""
BAND_90 = (0.05, 0.5, 0.95)
"""Quantiles of the 90% band and the median."""


def samples(array: xr.DataArray) -> xr.DataArray:
    """Return draws with chain and draw made one last dim ``sample``.

    Parameters
    ----------
    array : DataArray, dims (chain, draw, …)
        Any unit; it is kept.

    Returns
    -------
    DataArray, dims (…, sample)
        Without coordinates on ``sample``.
    """
    rest = [dim for dim in array.dims if dim not in ("chain", "draw")]
    flat = array.transpose("chain", "draw", *rest).to_numpy()
    flat = np.moveaxis(flat.reshape(flat.shape[0] * flat.shape[1], *flat.shape[2:]), 0, -1)
    coords = {
        str(name): value
        for name, value in array.coords.items()
        if not {"chain", "draw"} & {*value.dims, name}
    }
    return xr.DataArray(flat, dims=(*rest, "sample"), coords=coords, attrs=array.attrs, name=array.name)


def band(draws: xr.DataArray, quantiles: Sequence[float] = BANDS) -> xr.DataArray:
    """Return equal-tailed quantiles over ``sample``, as last dim ``quantile``."""
    result = draws.quantile(list(quantiles), dim="sample").transpose(..., "quantile")
    return result.assign_attrs(draws.attrs)


def know(labels: Sequence[str], known: Sequence[str], what: str) -> list[str]:
    """Return the labels when all are known.

    Raises
    ------
    KeyError
        When a label is not known; the message gives the nearest known one.
    """
    positions(list(labels), list(known), what)
    return list(labels)


def pulls(fit: Fit) -> xr.DataArray:
    """Return how many pulls of each cell were used, dims (anchor, seabed)."""
    inputs = fit.inputs
    counts = np.zeros((inputs.sizes["anchor"], inputs.sizes["seabed"]), dtype=int)
    np.add.at(counts, (inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy()), 1)
    coords = {name: inputs[name] for name in ("anchor", "seabed")}
    return xr.DataArray(
        counts, dims=("anchor", "seabed"), coords=coords, attrs={"units": "1", "long_name": "pulls used"}
    )

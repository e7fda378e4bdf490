"""The one table of bands: equal-tailed quantiles that every answer gives."""

from collections.abc import Sequence

import numpy as np
import xarray as xr

from holdcast.answers.draws.draws import Floats
from holdcast.numerics.quantiles import quantiles_of

__all__ = ["BANDS", "BAND_90", "band", "band_of"]

BANDS = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Quantiles of the 90% band, the 50% band and the median; all equal-tailed."""
BAND_90 = (BANDS[0], BANDS[2], BANDS[-1])
"""Quantiles of the 90% band and the median."""


def band(draws: xr.DataArray, quantiles: Sequence[float] = BANDS) -> xr.DataArray:
    """Return quantiles over ``sample``, as last dim ``quantile``."""
    values = draws.to_numpy()
    if np.isnan(values).any():  # passed over, which takes longer
        found = draws.quantile(list(quantiles), dim="sample").transpose(..., "quantile")
        return found.assign_attrs(draws.attrs)
    dims = [dim for dim in draws.dims if dim != "sample"]
    labels = {name: label for name, label in draws.coords.items() if "sample" not in label.dims}
    return xr.DataArray(
        quantiles_of(values, quantiles, draws.dims.index("sample")),
        {**labels, "quantile": list(quantiles)},
        [*dims, "quantile"],
        name=draws.name,
        attrs=draws.attrs,
    )


def band_of(draws: Floats, quantiles: Sequence[float] = BANDS, *, axis: int = -1) -> Floats:
    """Return quantiles over one axis of an array, as its last axis."""
    return quantiles_of(draws, quantiles, axis)

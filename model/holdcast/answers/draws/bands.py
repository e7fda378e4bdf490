"""The one table of bands: equal-tailed quantiles that every answer gives."""

from collections.abc import Sequence

import numpy as np
import xarray as xr

from holdcast.answers.draws.draws import Floats

__all__ = ["BANDS", "BAND_90", "band", "band_of"]

BANDS = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Quantiles of the 90% band, the 50% band and the median; all equal-tailed."""
BAND_90 = (BANDS[0], BANDS[2], BANDS[-1])
"""Quantiles of the 90% band and the median."""


def band(draws: xr.DataArray, quantiles: Sequence[float] = BANDS) -> xr.DataArray:
    """Return quantiles over ``sample``, as last dim ``quantile``."""
    return draws.quantile(list(quantiles), dim="sample").transpose(..., "quantile").assign_attrs(draws.attrs)


def band_of(draws: Floats, quantiles: Sequence[float] = BANDS, *, axis: int = -1) -> Floats:
    """Return quantiles over one axis of an array, as its last axis."""
    return np.moveaxis(np.quantile(draws, list(quantiles), axis=axis), 0, -1)

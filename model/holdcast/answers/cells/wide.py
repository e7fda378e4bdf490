"""A table of anchors by seabeds, as one would write it on paper."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

__all__ = ["to_frame"]

_NEAR = 1e-9


def to_frame(values: xr.DataArray, quantiles: float | Sequence[float] = 0.5) -> pd.DataFrame:
    """Return one variable of an answer as a wide table, a row an anchor and a column a seabed.

    Parameters
    ----------
    values : DataArray, dims (anchor, seabed) or (anchor, seabed, quantile)
        Such as ``cells(fit)["capacity_n"]`` or ``cells(fit)["pulls"]``; in its own units.
    quantiles : float or sequence of float, default 0.5
        Of those the variable has.  One number: a column a seabed; several: a column for each seabed and
        quantile, such as ``(0.05, 0.5, 0.95)`` for the median and its 90% band.  Not looked at where the
        variable has none.

    Returns
    -------
    DataFrame
        Index ``anchor``; columns ``seabed``, or ``seabed`` and ``quantile``.  Order as in the answer.

    Raises
    ------
    KeyError
        For a quantile that the variable does not have.
    ValueError
        When the variable has other dims.
    """
    dims = ["anchor", "seabed"]
    if set(values.dims) not in ({*dims}, {*dims, "quantile"}):
        raise ValueError(f"dims anchor and seabed, perhaps quantile, make a wide table; got {values.dims}")
    plain = values.reset_coords(drop=True)
    if "quantile" not in values.dims:
        return _table(plain, dims)
    several = not isinstance(quantiles, float | int)
    levels = [float(each) for each in np.atleast_1d(np.asarray(quantiles, dtype=float))]
    own = values["quantile"].to_numpy()
    missing = [each for each in levels if not np.isclose(own, each, rtol=0.0, atol=_NEAR).any()]
    if missing:
        in_table = ", ".join(f"{each:g}" for each in own)
        raise KeyError(f"no quantile {', '.join(f'{each:g}' for each in missing)}; known: {in_table}")
    picked = plain.sel(quantile=levels, method="nearest").assign_coords(quantile=levels)
    return (
        _table(picked, [*dims, "quantile"]) if several else _table(picked.isel(quantile=0, drop=True), dims)
    )


def _table(values: xr.DataArray, dims: list[str]) -> pd.DataFrame:
    ordered = values.transpose(*dims)
    labels = [pd.Index(ordered[dim].to_numpy(), name=dim) for dim in dims]
    columns = labels[1] if len(labels) == 2 else pd.MultiIndex.from_product(labels[1:])
    return pd.DataFrame(ordered.to_numpy().reshape(len(labels[0]), -1), labels[0], columns)

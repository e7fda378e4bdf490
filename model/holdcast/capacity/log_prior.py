"""The log density of each prior with fixed parameters at each draw, for power-scaling."""

import json
import math
from collections.abc import Mapping

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.model.priors import default_priors

__all__ = ["log_prior"]

Numbers = NDArray[np.float64]

_HALF_LOG_2_PI = 0.5 * math.log(2.0 * math.pi)


def log_prior(priors: str, posterior: xr.Dataset) -> xr.Dataset:
    """Return the log density of each prior with fixed parameters at each draw, dims (chain, draw), by name.

    Parameters
    ----------
    priors : str
        The attribute of a fit's root that tells the parameters used, as JSON.
    posterior : Dataset
        Draws; priors of variables that are not among them are left out.

    Notes
    -----
    Effects given their spread are left out: their prior is learnt, so to scale it would scale what the pulls
    told.
    """
    parameters_by_name = json.loads(priors)
    defaults = default_priors()
    densities = {
        name: _log_density(defaults[name].distribution, parameters, posterior[name])
        for name, parameters in parameters_by_name.items()
        if name in posterior and name in defaults
    }
    for name, density in densities.items():
        density.attrs = {"units": "1", "long_name": f"log prior density of {name}"}
    return xr.Dataset(densities)


def _log_density(distribution: str, values: Mapping[str, float], draws: xr.DataArray) -> xr.DataArray:
    """Return the log density summed over all dims but chain and draw."""
    summed = [dim for dim in draws.dims if dim not in ("chain", "draw")]
    if distribution == "dirichlet":
        weights = xr.DataArray(list(values.values()), dims="part", coords={"part": list(values)})
        weights = weights.rename(part=summed[0])
        constant = math.lgamma(float(weights.sum())) - sum(map(math.lgamma, values.values()))
        return ((weights - 1.0) * np.log(draws)).sum(summed) + constant
    return draws.copy(data=_LOG_DENSITIES[distribution](draws.to_numpy(), values)).sum(summed)


def _normal(x: Numbers, values: Mapping[str, float]) -> Numbers:
    steps = (x - values["mean"]) / values["sd"]
    return np.asarray(-0.5 * steps**2 - math.log(values["sd"]) - _HALF_LOG_2_PI)


def _log_normal(x: Numbers, values: Mapping[str, float]) -> Numbers:
    """Return the density of numbers above 0; of 0, which single precision may leave, nothing."""
    log_x = np.log(np.where(x > 0.0, x, 1.0))
    steps = (log_x - math.log(values["median"])) / values["log_sd"]
    density = -0.5 * steps**2 - log_x - math.log(values["log_sd"]) - _HALF_LOG_2_PI
    return np.where(x > 0.0, density, -np.inf)


def _beta(x: Numbers, values: Mapping[str, float]) -> Numbers:
    """Return the density of numbers between two ends."""
    a, b, width = values["a"], values["b"], values["high"] - values["low"]
    share = (x - values["low"]) / width
    constant = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) - math.log(width)
    with np.errstate(divide="ignore", invalid="ignore"):  # at the ends and beyond
        density = (a - 1.0) * np.log(share) + (b - 1.0) * np.log1p(-share) + constant
    return np.where((share >= 0.0) & (share <= 1.0), density, -np.inf)


_LOG_DENSITIES = {"normal": _normal, "log-normal": _log_normal, "beta": _beta}

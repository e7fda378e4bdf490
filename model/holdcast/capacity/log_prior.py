"""The log density of each prior with fixed parameters at each draw, for power-scaling."""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr
from scipy import special, stats

from holdcast.capacity.model.priors import default_priors

__all__ = ["log_prior"]


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
        constant = special.gammaln(float(weights.sum())) - float(special.gammaln(weights).sum())
        return ((weights - 1.0) * np.log(draws)).sum(summed) + constant
    frozen: Any
    if distribution == "normal":
        frozen = stats.norm(values["mean"], values["sd"])
    elif distribution == "log-normal":
        frozen = stats.lognorm(values["log_sd"], scale=values["median"])
    else:
        frozen = stats.beta(values["a"], values["b"], loc=values["low"], scale=values["high"] - values["low"])
    return draws.copy(data=frozen.logpdf(draws.to_numpy())).sum(summed)

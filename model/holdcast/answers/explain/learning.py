"""How far the data moved a parameter from its prior."""

import json
from collections.abc import Sequence

import numpy as np
import xarray as xr

from holdcast.answers.draws.samples import BANDS, know, samples
from holdcast.capacity.fitting import Fit

__all__ = ["LITTLE_LEARNT", "PARAMETERS", "contraction", "how_far_moved", "shift"]

LITTLE_LEARNT = 0.1
"""Below this contraction the band is mostly the prior's: variance fell by under a tenth (a choice)."""
PARAMETERS = (
    "size_exponent",
    "area_exponent",
    "tip_growth",
    "penetration_steepness",
    "log_resistance",
    "ground",
    "ground_strength_slope",
    "feature_typical",
    "feature_seabed_spread",
    "form_spread",
    "form_seabed_spread",
    "design_spread",
    "design_share",
    "visit_spread",
    "pull_scatter",
    "strength_of_fall",
)
"""What a tester may ask about, in the order of the model's equation."""


def contraction(posterior: xr.DataArray, prior: xr.DataArray) -> xr.DataArray:
    """Return 1 - var(posterior) / var(prior), over ``sample``.

    0: nothing learnt; 1: everything; below 0: wider than before.

    Parameters
    ----------
    posterior, prior : DataArray, dims (…, sample)
        Draws in one unit; their number may differ.

    Notes
    -----
    Posterior contraction: Schad, Betancourt & Vasishth 2021, *Psychol. Methods* 26:103 (value from memory).
    """
    return 1.0 - posterior.var("sample") / prior.var("sample")


def shift(posterior: xr.DataArray, prior: xr.DataArray) -> xr.DataArray:
    """Return the posterior mean less the prior mean, in prior standard deviations (computed)."""
    return (posterior.mean("sample") - prior.mean("sample")) / prior.std("sample")


def how_far_moved(fit: Fit, names: Sequence[str] = PARAMETERS) -> xr.Dataset:
    """Return each parameter beside its prior.

    Parameters
    ----------
    fit : Fit
        Its group ``prior`` holds draws from the prior.
    names : sequence of str
        Variables of the posterior; those that a campaign does not have (no features) are passed over when
        they are among `PARAMETERS`.

    Returns
    -------
    Dataset, dims (parameter, quantile)
        ``value`` (parameter, quantile) and ``prior_value``, each in the parameter's own unit (coordinate
        ``unit``); ``contraction`` and ``shift`` (parameter) [1], taken of the log where the prior is a
        log-normal. Coordinates ``variable`` and ``label`` (such as the seabed) tell what a parameter is of.

    Raises
    ------
    KeyError
        When a name is not a variable of the posterior.
    """
    known = [str(name) for name in fit.posterior.data_vars]
    asked = know([name for name in names if name in known or name not in PARAMETERS], known, "parameter")
    on_log_scale = _log_normal(fit)
    parts = []
    for name in asked:
        after, before = samples(fit.posterior[name]), samples(fit.tree["prior"].to_dataset()[name])
        parts.append(_one(name, after, before, name in on_log_scale))
    made = xr.concat(parts, "parameter")
    made["value"].attrs = {"units": "see unit", "long_name": "posterior quantiles"}
    made["prior_value"].attrs = {"units": "see unit", "long_name": "prior quantiles"}
    made["contraction"].attrs = {
        "units": "1",
        "long_name": "share of the prior's variance that the data took away",
    }
    made["shift"].attrs = {"units": "1", "long_name": "move of the mean, in standard deviations of the prior"}
    return made


def _log_normal(fit: Fit) -> set[str]:
    priors = json.loads(str(fit.tree.attrs["priors"]))
    names = {name for name, parameters in priors.items() if "median" in parameters}
    return names | {"pull_scatter"}  # its logarithm is normal about the typical one


def _one(name: str, after: xr.DataArray, before: xr.DataArray, logs: bool) -> xr.Dataset:
    dims = [dim for dim in after.dims if dim != "sample"]
    sizes = [after.sizes[dim] for dim in dims]
    entries = [
        tuple(after[dim].to_numpy()[at] for dim, at in zip(dims, place, strict=True))
        for place in np.ndindex(*sizes)
    ]
    labels = [", ".join(map(str, entry)) for entry in entries]
    flat, flat_before = (
        xr.DataArray(
            array.transpose(*dims, "sample").to_numpy().reshape(len(labels), -1), dims=("parameter", "sample")
        )
        for array in (after, before)
    )
    full = [f"{name} ({label})" if label else name for label in labels]
    scaled = (np.log(flat), np.log(flat_before)) if logs else (flat, flat_before)
    return xr.Dataset(
        {
            "value": flat.quantile(list(BANDS), "sample").transpose("parameter", "quantile"),
            "prior_value": flat_before.quantile(list(BANDS), "sample").transpose("parameter", "quantile"),
            "contraction": contraction(*scaled),
            "shift": shift(*scaled),
        },
        coords={
            "parameter": full,
            "variable": ("parameter", [name] * len(full)),
            "label": ("parameter", labels),
            "unit": ("parameter", [str(after.attrs.get("units", "1"))] * len(full)),
        },
    )

"""How far the data moved a parameter from its prior."""

from collections.abc import Sequence

import numpy as np
import xarray as xr

from holdcast.answers.draws.bands import band
from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.draws.provenance import about
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.labels import positions

__all__ = ["LITTLE_LEARNT", "PARAMETERS", "contraction", "how_far_moved", "shift"]

LITTLE_LEARNT = 0.1
"""Below this contraction the band is mostly the prior's: variance fell by under a tenth (a choice)."""
PARAMETERS = (
    "size_exponent",
    "area_exponent",
    "tip_growth",
    "penetration_steepness",
    "log_resistance",
    "cover_resistance",
    "ground",
    "ground_strength_slope",
    "fluke_angle_slope",
    "feature_typical",
    "feature_seabed_spread",
    "form_spread",
    "form_seabed_spread",
    "design_spread",
    "design_share",
    "visit_spread",
    "pull_scatter",
    "strength_of_fall",
    "spot_spread",
    "set_typical",
    "set_strength_slope",
    "cover_setting",
    "set_by_entry",
    "set_by_capacity",
    "set_spread",
    "set_feature_typical",
    "set_concentration",
    "sliding_efficiency",
    "sliding_scatter",
    "again_shift",
    "again_spread",
    "again_feature_typical",
    "turn_typical",
    "turn_spread",
    "turn_feature",
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
    draws = draws_of(fit)
    wanted = [name for name in names if name in draws or name not in PARAMETERS]
    positions(wanted, [str(name) for name in draws.posterior.data_vars], "parameter")
    on_log_scale = _log_normal(draws)
    moves = xr.concat(
        [_one(name, draws.posterior[name], draws.prior[name], name in on_log_scale) for name in wanted],
        "parameter",
    )
    moves["value"].attrs = about("see unit", "posterior quantiles")
    moves["prior_value"].attrs = about("see unit", "prior quantiles")
    moves["contraction"].attrs = about("1", "share of the prior's variance that the data took away")
    moves["shift"].attrs = about("1", "move of the mean, in standard deviations of the prior")
    return moves


def _log_normal(draws: Draws) -> set[str]:
    names = {name for name, parameters in draws.priors.items() if "median" in parameters}
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
            "value": band(flat),
            "prior_value": band(flat_before),
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

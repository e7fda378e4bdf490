"""The one place that puts a fit's groups together; everything later reads them from here."""

import json
from collections.abc import Mapping
from dataclasses import asdict

import numpy as np
import pandas as pd
import pymc as pm
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity.likelihood.pointwise import pull_draws
from holdcast.capacity.log_tables import escaped_name
from holdcast.capacity.model.design_parts import LOADING, SCORE, TRAIT_EFFECT
from holdcast.capacity.model.design_split import (
    ANCHOR_EFFECT,
    effects_of_anchors,
    split_designs,
    trait_covariance,
)
from holdcast.capacity.model.prior_draws import draw_prior
from holdcast.capacity.model.priors import Prior
from holdcast.capacity.store import RESULTS_VERSION
from holdcast.capacity.symbols import only_serves_sampling

__all__ = [
    "RESULTS_VERSION",
    "assemble",
    "judged_draws",
    "keep_posterior",
    "prior_group",
    "root_attributes",
]

_LARGE_GROUP = 500_000
"""Most numbers in a group with one value for each draw and trial; draws are thinned to keep it."""
_LEAST_DRAWS = 400
"""Draws left however many trials there are: 20 in either tail of a 90% band, and some 60 for a Pareto fit."""
_KNOWN_IN_PART = ("anchor_log_tip_load", "anchor_log_area_excess")
"""Constant where a measurement was made: only the missing ones have an effective sample size."""

_NOT_JUDGED = ("design_effect", "configuration_effect", SCORE, TRAIT_EFFECT, LOADING)
"""All but the last are told apart after sampling, so no chain moved them; of loadings only products mean
something."""

_HAD_SET = {"units": "1", "long_name": "chance that this pull's anchor had set, given all readings"}
_UNITS = {"log_capacity": "log N", "ground": "log N", "log_load": "log N", "log_resistance": "log kg"}


def judged_draws(posterior: xr.Dataset, inputs: xr.Dataset) -> xr.Dataset:
    """Return the draws that the verdict is about: cells, hyperparameters, effects, missing measurements.

    Designs, their traits and configurations are judged by their sum, which was sampled, and loadings by the
    covariance that they give to designs; how the sum is split is drawn afterwards.
    """
    known_in_part = [name for name in _KNOWN_IN_PART if name in posterior]
    judged = posterior.drop_vars([*known_in_part, *_NOT_JUDGED])
    judged[ANCHOR_EFFECT] = effects_of_anchors(posterior, inputs)
    judged["trait_covariance"] = trait_covariance(posterior)
    for name in known_in_part:
        missing = inputs[f"{name.removeprefix('anchor_')}_spread"].to_numpy() > 0.0
        judged[name] = posterior[name].isel(anchor=missing).rename(anchor=f"{name}_missing")
    return judged


def keep_posterior(raw: xr.Dataset, inputs: xr.Dataset, seed: int) -> xr.Dataset:
    """Return the draws without the standard normals that only served sampling, with units.

    Parameters
    ----------
    raw : Dataset, dims (chain, draw, …)
        Every variable of the model.
    inputs : Dataset
        What the model was told.
    seed : int
        Of what is drawn after sampling, see :func:`holdcast.capacity.model.design_split.split_designs`.
    """
    posterior = raw.drop_vars(
        [
            name
            for name in raw.data_vars
            if only_serves_sampling(name)
            or str(name).endswith("__")
            or (str(name).startswith("feature_") and not inputs.sizes["feature"])
        ]
    )
    posterior = posterior.merge(split_designs(posterior, inputs, seed)).drop_vars(ANCHOR_EFFECT)
    dims = {dim for array in posterior.data_vars.values() for dim in array.dims}
    posterior = posterior.drop_dims([dim for dim in posterior.dims if dim not in dims])
    for name in posterior.data_vars:
        posterior[name].attrs = {
            "units": _UNITS.get(str(name), "1"),
            "long_name": str(name).replace("_", " "),
        }
    return posterior


def assemble(
    posterior: xr.Dataset,
    stats: xr.Dataset,
    prior: xr.Dataset,
    inputs: xr.Dataset,
    campaign: Campaign,
    seed: int,
) -> xr.DataTree:
    """Return the tree of a fit.

    Parameters
    ----------
    posterior, stats, prior : Dataset
        Draws kept, the sampler's statistics, draws from the prior.
    inputs : Dataset
        What the model was told; becomes ``constant_data``.
    campaign : Campaign
        Its tables travel along as groups anchors, seabeds and trials, so that answers need no file.
    seed : int
        Of the sampler; predictive draws use it too.
    """
    thinned = _thin(posterior, inputs.sizes["trial"])
    pulls = pull_draws(thinned, inputs)
    dims = ("chain", "draw", "trial")
    coords = {**{dim: thinned[dim] for dim in ("chain", "draw")}, "trial": inputs["trial"]}
    units = {"units": "log N", "long_name": "log load at reference conditions"}
    groups = {
        "posterior": posterior,
        "posterior_predictive": xr.Dataset(
            {"log_load": (dims, pulls.replicate(np.random.default_rng(seed)), units)}, coords
        ),
        "log_likelihood": xr.Dataset({"log_load": (dims, pulls.log_likelihood, {"units": "1"})}, coords),
        "sample_stats": stats,
        "prior": prior,
        "observed_data": inputs[["lower", "upper", "kind", "setting"]].assign(
            had_set=("trial", pulls.had_set.mean(axis=(0, 1)), _HAD_SET)
        ),
        "constant_data": inputs,
        "anchors": _labelled(campaign.anchors),
        "seabeds": _labelled(campaign.seabeds),
        "trials": _labelled(campaign.trials),
    }
    if len(campaign.rodes):
        groups["rodes"] = _labelled(campaign.rodes)
    return xr.DataTree.from_dict(groups, name="holdcast")


def _thin(posterior: xr.Dataset, trials: int) -> xr.Dataset:
    """Return every so many draws, so that groups by pull stay small, but enough for their tails."""
    draws = posterior.sizes["chain"] * posterior.sizes["draw"]
    step = int(np.ceil(draws * max(trials, 1) / _LARGE_GROUP))
    return posterior.isel(draw=slice(None, None, max(1, min(step, draws // _LEAST_DRAWS))))


def prior_group(model: pm.Model, inputs: xr.Dataset, seed: int) -> xr.Dataset:
    """Return draws from the prior of all variables of the model of some inputs, with units."""
    return keep_posterior(draw_prior(model, seed), inputs, seed)


def _labelled(table: pd.DataFrame) -> xr.Dataset:
    """Return a table as a Dataset of numbers, truth values and text, with the table's label as dim."""
    plain = {}
    for name, column in table.items():
        if pd.api.types.is_datetime64_any_dtype(column):
            plain[escaped_name(str(name))] = (
                column.dt.strftime("%Y-%m-%d").fillna("").astype(str).to_numpy(dtype=str)
            )
        elif pd.api.types.is_bool_dtype(column) or pd.api.types.is_numeric_dtype(column):
            plain[escaped_name(str(name))] = column.to_numpy()
        else:
            plain[escaped_name(str(name))] = column.fillna("").astype(str).to_numpy(dtype=str)
    dim = str(table.index.name)
    labels = np.array([str(label) for label in table.index], dtype=str)
    return xr.Dataset({name: (dim, values) for name, values in plain.items()}, coords={dim: labels})


def root_attributes(
    campaign: Campaign, priors: Mapping[str, Prior], seed: int, version: str
) -> dict[str, str | int]:
    """Return what the root of the tree says of its making; all plain text and numbers."""
    dates = campaign.trials["date"].dropna()
    return {
        "results_version": RESULTS_VERSION,
        "version": version,
        "seed": seed,
        "title": campaign.title,
        "author": campaign.author,
        "licence": campaign.licence,
        "input_hash": campaign.digest,
        "newest_trial": "" if dates.empty else f"{dates.max():%Y-%m-%d}",
        "priors": json.dumps({name: dict(prior.parameters) for name, prior in priors.items()}),
        "thresholds": json.dumps(dict(campaign.thresholds)),
        "weights": json.dumps(dict(campaign.weights)),
        "boat": json.dumps(dict(campaign.boat)),
        "units": campaign.units,
        "doubts": json.dumps([asdict(doubt) for doubt in campaign.doubts]),
    }

"""The one place that puts a fit's groups together; everything later reads them from here."""

import numpy as np
import pymc as pm
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity.likelihood.kinds import UNREAD
from holdcast.capacity.log_prior import log_prior
from holdcast.capacity.log_tables import log_groups
from holdcast.capacity.model.design_parts import LOADING, SCORE, TRAIT_EFFECT
from holdcast.capacity.model.design_split import (
    ANCHOR_EFFECT,
    effects_of_anchors,
    split_designs,
    trait_covariance,
)
from holdcast.capacity.model.prior_draws import draw_prior
from holdcast.capacity.pointwise.pulls import pull_draws
from holdcast.capacity.results.precision import as_saved
from holdcast.capacity.results.root import root_attributes
from holdcast.capacity.results.variable_words import described
from holdcast.capacity.symbols import only_serves_sampling

__all__ = ["assemble", "judged_draws", "keep_posterior", "prior_group", "root_attributes"]

_LARGE_GROUP = 2_000_000
"""Most numbers in a group with one value for each draw and trial; draws are thinned to keep it."""
_LEAST_DRAWS = 400
"""Draws left however many trials there are: 20 in either tail of a 90% band, and some 60 for a Pareto fit."""
_LOG_DENSITY = {"units": "1", "long_name": "log likelihood of this pull, given the others on its spot"}
_OF_EMPTY = {
    **{"feature_": "feature", "fluke_angle_": "angle_ground", "cover_": "cover"},
    "spot_effect": "shared_spot",
}
"""Beginning of a name, and the dim that the variable has nothing to say without."""
_KNOWN_IN_PART = ("anchor_log_tip_load", "anchor_log_area_excess")
"""Constant where a measurement was made: only the missing ones have an effective sample size."""

_NOT_JUDGED = ("design_effect", "configuration_effect", SCORE, TRAIT_EFFECT, LOADING)
"""All but the last are told apart after sampling, so no chain moved them; of loadings only products mean
something."""


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


def keep_posterior(raw: xr.Dataset, inputs: xr.Dataset, seed: int, *, given_pulls: bool = True) -> xr.Dataset:
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
            or any(str(name).startswith(start) and not inputs.sizes[dim] for start, dim in _OF_EMPTY.items())
        ]
    )
    posterior = posterior.merge(split_designs(posterior, inputs, seed)).drop_vars(ANCHOR_EFFECT)
    dims = {dim for array in posterior.data_vars.values() for dim in array.dims}
    posterior = posterior.drop_dims([dim for dim in posterior.dims if dim not in dims])
    return described(posterior)


def assemble(
    posterior: xr.Dataset,
    stats: xr.Dataset,
    prior: xr.Dataset,
    inputs: xr.Dataset,
    campaign: Campaign,
    seed: int,
    priors: str = "{}",
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
    priors : str
        The priors that were used, as the attribute of the root tells them.
    """
    posterior, prior = as_saved(posterior), as_saved(prior)
    thinned = _thin(posterior, inputs.sizes["trial"])
    pulls = pull_draws(thinned, inputs)
    dims = ("chain", "draw", "trial")
    coords = {**{dim: thinned[dim] for dim in ("chain", "draw")}, "trial": inputs["trial"]}
    predicted = xr.Dataset({"log_load": (dims, pulls.replicate(np.random.default_rng(seed)))}, coords)
    log_likelihood = xr.Dataset({"log_load": (dims, pulls.log_likelihood, _LOG_DENSITY)}, coords)
    groups = {
        "posterior": posterior,
        "posterior_predictive": as_saved(described(predicted)),
        "log_likelihood": as_saved(log_likelihood),
        "log_prior": as_saved(log_prior(priors, posterior)),
        "sample_stats": described(as_saved(stats)),
        "prior": prior,
        "observed_data": _observed(inputs),
        "constant_data": inputs.assign(had_set=("trial", pulls.had_set.mean(axis=(0, 1)))),
        **log_groups(campaign),
    }
    return xr.DataTree.from_dict(groups, name="holdcast")


def _observed(inputs: xr.Dataset) -> xr.Dataset:
    """Return one log load for each pull, as checks of other tools want it: the middle of what was read.

    Where one end is open it is the other end, and `kind` of ``constant_data`` says so; unread is NaN.
    """
    middle = 0.5 * (inputs["lower"] + inputs["upper"])
    return described(xr.Dataset({"log_load": middle.where(inputs["kind"] != UNREAD)}))


def _thin(posterior: xr.Dataset, trials: int) -> xr.Dataset:
    """Return every so many draws, so that groups by pull stay small, but enough for their tails."""
    draws = posterior.sizes["chain"] * posterior.sizes["draw"]
    step = int(np.ceil(draws * max(trials, 1) / _LARGE_GROUP))
    return posterior.isel(draw=slice(None, None, max(1, min(step, draws // _LEAST_DRAWS))))


def prior_group(model: pm.Model, inputs: xr.Dataset, seed: int) -> xr.Dataset:
    """Return draws from the prior of all variables of the model of some inputs, with units."""
    return keep_posterior(draw_prior(model, seed), inputs, seed)

"""The rival: a mixed model of the midpoints, as a formula interface would write it for a two-way table."""

import numpy as np
import pymc as pm
import pytensor.tensor as pt
import xarray as xr
from numpy.typing import NDArray
from scipy.special import ndtr
from scipy.stats import norm

from holdcast.capacity.likelihood.kinds import EXACT
from holdcast.capacity.sampler.compiling import compile_model
from holdcast.capacity.sampler.refitting import with_new_data
from holdcast.capacity.sampler.sampling import Effort, draw_posterior
from holdcast.evaluate.predictive import HeldOut
from holdcast.evaluate.refit import Refitter
from invented.rivals import midpoints

__all__ = ["formula_held_out", "prepare_formula"]

EFFORT = Effort(500, 500, 0.9, chains=2)
UNSEEN = 1e6
"""Scatter of a hidden reading, in standard deviations of the others: it says nothing."""


def _told(
    inputs: xr.Dataset, shown: NDArray[np.bool_]
) -> tuple[dict[str, NDArray[np.generic]], float, float]:
    """Return the data of a fit to the pulls shown, and the mean and spread taken off their log loads."""
    load = midpoints(inputs)
    middle, spread = float(load[shown].mean()), float(load[shown].std())
    places = {name: inputs[name].to_numpy() for name in ("anchor_of", "seabed_of", "visit_of")}
    standard = np.where(shown, (load - middle) / spread, 0.0)
    return {"y": standard, "hidden": (~shown).astype(float), **places}, middle, spread


def build_formula_model(inputs: xr.Dataset) -> pm.Model:
    """Return y ~ 1 + (1 | anchor) + (1 | seabed) + (1 | anchor:seabed) + (1 | visit), normal.

    Spreads HalfNormal(2.5), scatter HalfStudentT(4, 1), in standard deviations of y (usual defaults of such
    interfaces, value from memory).
    """
    size = inputs.sizes
    told, *_ = _told(inputs, np.ones(size["trial"], dtype=bool))
    with pm.Model() as model:
        data = {name: pm.Data(name, values) for name, values in told.items()}

        def group(name: str, *shape: int) -> pm.Deterministic:
            return pm.HalfNormal(f"{name}_sd", 2.5) * pm.Normal(f"{name}_z", 0.0, 1.0, shape=shape)

        cell = pm.Normal("intercept", 0.0, 2.5) + group("anchor", size["anchor"])[:, None]
        cell += group("seabed", size["seabed"]) + group("cell", size["anchor"], size["seabed"])
        at = cell[data["anchor_of"], data["seabed_of"]] + group("visit", size["visit"])[data["visit_of"]]
        pm.Deterministic("at", at)
        sigma = pm.HalfStudentT("sigma", 4.0, 1.0)
        pm.Normal("load", at, pt.as_tensor(sigma + UNSEEN * data["hidden"]), observed=data["y"])
    return model


def prepare_formula(inputs: xr.Dataset) -> Refitter:
    """Compile the formula model once."""
    model = build_formula_model(inputs)
    return Refitter(model, compile_model(model))


def formula_held_out(
    refitter: Refitter, inputs: xr.Dataset, truth: xr.Dataset, hidden: NDArray[np.bool_], seed: int
) -> HeldOut:
    """Return what a fit to the pulls that are not hidden says of those that are, as they truly were."""
    told, middle, spread = _told(inputs, ~hidden)
    compiled = with_new_data(refitter.compiled, refitter.model, told)
    posterior = draw_posterior(compiled, EFFORT, seed)[0]["posterior"]
    at = posterior["at"].to_numpy().reshape(-1, inputs.sizes["trial"])[:, hidden]
    location, scale = middle + spread * at, spread * posterior["sigma"].to_numpy().reshape(-1, 1)
    rows = truth.isel(trial=np.flatnonzero(hidden))
    exact = rows["kind"].to_numpy() == EXACT
    low = np.where(np.isin(rows["kind"], [1]), -np.inf, rows["lower"].to_numpy())
    high = np.where(np.isin(rows["kind"], [2]), np.inf, rows["upper"].to_numpy())
    below, upto = (ndtr((end - location) / scale) for end in (low, high))
    with np.errstate(divide="ignore"):
        log_score = np.where(
            exact, norm.logpdf(np.where(exact, low, 0.0), location, scale), np.log(upto - below)
        )
    load = location + scale * np.random.default_rng(seed).standard_normal(location.shape)
    ends = (np.broadcast_to(end, location.shape) for end in (low, high))
    return HeldOut(log_score, below, upto, *ends, load)

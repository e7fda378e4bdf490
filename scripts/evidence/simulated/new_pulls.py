"""The chance that a new pull exceeds a load, from draws of a fit."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit

__all__ = ["chance_of_exceeding"]

Array = NDArray[np.float64]
FREEDOM = 4.0
"""Degrees of freedom of the scatter of pulls, as the model has it."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)


def chance_of_exceeding(draws: xr.Dataset, inputs: xr.Dataset, log_load: Array) -> Array:
    """Return the chance that a new pull on a new visit exceeds a load, dims (anchor, seabed).

    Parameters
    ----------
    draws : Dataset
        Of a refit. Draws without chances of setting are of a model in which every pull sets.
    inputs : Dataset
        What it was told.
    log_load : array, shape (anchor, seabed)
        [log N].
    """

    def flat(name: str) -> Array:
        ordered = draws[name].transpose("chain", "draw", ...).to_numpy()
        return ordered.reshape(-1, *ordered.shape[2:])

    spread = flat("visit_spread")
    if "spot_spread" in draws:
        spread = np.hypot(spread, flat("spot_spread"))
    below = log_load - flat("log_capacity")
    scatter = flat("pull_scatter")[:, None, :]
    chance = np.zeros_like(below)
    for node, weight in zip(_NODES, _WEIGHTS / _WEIGHTS.sum(), strict=True):
        chance += weight * stats.t.sf((below - spread[:, None, None] * node) / scatter, FREEDOM)
    if "sets_log_odds" not in draws:
        return np.asarray(chance.mean(axis=0))
    sets = expit(flat("sets_log_odds"))
    middle = np.log(flat("sliding_efficiency"))[:, None] + inputs["log_weight"].to_numpy()
    slides = stats.norm.sf((log_load - middle[:, :, None]) / flat("sliding_scatter")[:, None, None])
    return np.asarray((sets * chance + (1.0 - sets) * slides).mean(axis=0))

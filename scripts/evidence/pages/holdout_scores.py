"""Scores of `holdout.py`: what draws say of true values, as plain numbers that tables can be remade from."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit, logsumexp

from holdcast.capacity.likelihood.interval import DEGREES_OF_FREEDOM

__all__ = ["QUANTILES", "score_cells", "score_draws"]

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
Array = NDArray[np.float64]


def score_draws(truth: Array, draws: Array) -> dict[str, Any]:
    """Return quantiles, truth and log score of some values.

    Parameters
    ----------
    truth : array, shape (cell,)
        True values [log N].
    draws : array, shape (sample, cell)
        Of the same values [log N].

    Returns
    -------
    dict
        ``truth`` (cell); ``quantiles`` (quantile, cell) at `QUANTILES`; ``below``: share of draws below the
        truth; ``log_score``: log density of the truth, from a normal kernel on the draws with Scott's width
        (sd n^(-1/5); Scott 1992, value from memory).
    """
    width = draws.std(axis=0, ddof=1) * len(draws) ** -0.2
    density = logsumexp(stats.norm.logpdf(truth, draws, width), axis=0) - np.log(len(draws))
    numbers = {
        "truth": truth,
        "quantiles": np.quantile(draws, QUANTILES, axis=0),
        "below": (draws < truth).mean(axis=0),
        "log_score": density,
    }
    return {name: np.round(values, 4).tolist() for name, values in numbers.items()}


def score_cells(
    posterior: xr.Dataset,
    truth: xr.Dataset,
    log_weight: xr.DataArray,
    cells: Sequence[tuple[str, str]],
    generator: np.random.Generator,
) -> dict[str, Any]:
    """Return scores of the true log capacity of some cells and of one new pull in each.

    Parameters
    ----------
    posterior, truth : Dataset
        Draws of a refit, and of the prior (one draw) that the campaign was made from.
    log_weight : DataArray, dim anchor
        Of the anchors' weights in air [log N].
    cells : sequence of (anchor, seabed)
    generator : Generator
        Of new pulls: each on a new visit of its own, along the bottom, at rest. One that does not set
        slides.
    """
    scores: dict[str, Any] = {"cells": [list(cell) for cell in cells]}
    true, drawn = (_capacity_and_pull(draws, log_weight, cells, generator) for draws in (truth, posterior))
    for name in ("capacity", "pull"):
        scores[name] = score_draws(true[name][0], drawn[name])
    return scores


def _capacity_and_pull(
    draws: xr.Dataset,
    log_weight: xr.DataArray,
    cells: Sequence[tuple[str, str]],
    generator: np.random.Generator,
) -> dict[str, Array]:
    """Return log capacity and the log load of a new pull, each of shape (sample, cell)."""
    anchor, seabed = (xr.DataArray(list(names), dims="cell") for names in zip(*cells, strict=True))

    def flat(array: xr.DataArray) -> Array:
        ordered = array.transpose("chain", "draw", ...).to_numpy()
        return ordered.reshape(-1, *ordered.shape[2:])

    capacity = flat(draws["log_capacity"].sel(anchor=anchor, seabed=seabed))
    scatter = flat(draws["pull_scatter"].sel(seabed=seabed))
    spread = np.hypot(flat(draws["visit_spread"]), flat(draws["spot_spread"]))[:, None]
    visit = spread * generator.standard_normal(capacity.shape)
    holds = capacity + visit + scatter * generator.standard_t(DEGREES_OF_FREEDOM, capacity.shape)
    sets = expit(flat(draws["sets_log_odds"].sel(anchor=anchor, seabed=seabed)))
    middle = np.log(flat(draws["sliding_efficiency"]))[:, None] + log_weight.sel(anchor=anchor).to_numpy()
    slides = middle + flat(draws["sliding_scatter"])[:, None] * generator.standard_normal(capacity.shape)
    pull = np.where(generator.random(capacity.shape) < sets, holds, slides)
    return {"capacity": capacity, "pull": pull}

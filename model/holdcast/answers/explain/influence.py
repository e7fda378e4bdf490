"""Which trials move a cell most, and whether the cell's pulls look like what is expected of them.

Leaving a trial out is done by importance weights instead of a refit: each draw is weighted by one over its
likelihood of the trial, and the weights' tail is smoothed (PSIS: Vehtari, Simpson, Gelman, Yao & Gabry 2024,
*J. Mach. Learn. Res.* 25:72; Vehtari, Gelman & Gabry 2017, *Stat. Comput.* 27:1413; values from memory).
Pareto k says how far to trust it.
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.samples import BAND_90, know, samples
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.corrections import corrected_ends
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW

__all__ = [
    "TRUSTED_K",
    "cell_draws",
    "influential_trials",
    "leave_out_weights",
    "pull_check",
    "reference_ends",
]

TRUSTED_K = 0.7
"""Above this Pareto k importance weights are not to be trusted (Vehtari et al. 2024, value from memory)."""


def cell_draws(fit: Fit, anchor: str, seabed: str) -> xr.DataArray:
    """Return the draws of one cell's log capacity [log N], dim sample.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    posterior = fit.posterior
    for label, what in ((anchor, "anchor"), (seabed, "seabed")):
        know([label], [str(name) for name in posterior[what].to_numpy()], what)
    return samples(posterior["log_capacity"].sel(anchor=anchor, seabed=seabed, drop=True))


def leave_out_weights(fit: Fit) -> xr.Dataset:
    """Return what each draw counts when one trial is left out.

    Returns
    -------
    Dataset, dims (trial, sample)
        ``weight`` [1], summing to one over the draws that the tree keeps a likelihood of; ``pareto_k``
        (trial).
    """
    likelihood = samples(fit.tree["log_likelihood"].to_dataset()["log_load"])
    # psislw takes log likelihoods and gives the log of one over them, smoothed.
    # Imported here: it takes longer than most answers, which need none of it.
    from arviz_stats.base import array_stats

    log_weight, k = array_stats.psislw(likelihood.to_numpy(), axis=-1)
    made = xr.Dataset(
        {"weight": (("trial", "sample"), np.exp(log_weight)), "pareto_k": ("trial", k)},
        coords={"trial": likelihood["trial"]},
    )
    made["weight"].attrs = {"units": "1", "long_name": "weight of a draw without the trial"}
    made["pareto_k"].attrs = {"units": "1", "long_name": "Pareto k of the weights"}
    return made


def influential_trials(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Return how leaving out each trial moves one cell.

    Returns
    -------
    Dataset, dim trial, the most influential first
        ``move``: mean of log capacity without the trial less that with it, in standard deviations of the cell
        [1].  ``factor``: the same as a factor on capacity.  ``sd_ratio``: standard deviation without over
        with it.  ``pareto_k``.  Coordinates ``anchor`` and ``seabed`` of the trial.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    weights = leave_out_weights(fit)
    cell = _kept(fit, cell_draws(fit, anchor, seabed))
    weight, draws = weights["weight"].to_numpy(), cell
    mean, sd = draws.mean(), draws.std()
    without = weight @ draws
    spread = np.sqrt(np.maximum(weight @ (draws**2) - without**2, 0.0))
    told = fit.inputs
    made = xr.Dataset(
        {
            "move": ("trial", (without - mean) / sd),
            "factor": ("trial", np.exp(without - mean)),
            "sd_ratio": ("trial", spread / sd),
            "pareto_k": weights["pareto_k"],
        },
        coords={
            "trial": weights["trial"],
            "anchor": ("trial", told["anchor"].to_numpy()[told["anchor_of"].to_numpy()]),
            "seabed": ("trial", told["seabed"].to_numpy()[told["seabed_of"].to_numpy()]),
        },
    )
    for name in made.data_vars:
        made[name].attrs.setdefault("units", "1")
    order = np.argsort(-np.abs(made["move"].to_numpy()), kind="stable")
    return made.isel(trial=order)


def pull_check(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Compare each pull of a cell with what the other trials lead one to expect of it.

    Returns
    -------
    Dataset, dims (trial, quantile)
        ``lower`` and ``upper`` (trial) [log N]: ends of the load at reference conditions, median of the
        draws; minus or plus infinity where open.  ``expected`` (trial, quantile) [log N]: 90% band and
        median of a new pull on that visit, the trial itself left out by its weights.  ``pit_low`` and
        ``pit_high`` (trial): share of that prediction below either end.  ``surprising``: the whole load lies
        outside the band; of exact loads one in ten should, of intervals fewer.  ``pareto_k`` (trial).  A cell
        without pulls: a dim of length 0.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    cell_draws(fit, anchor, seabed)
    told = fit.inputs
    names = {what: told[what].to_numpy()[told[f"{what}_of"].to_numpy()] for what in ("anchor", "seabed")}
    own = np.flatnonzero((names["anchor"] == anchor) & (names["seabed"] == seabed))
    weights = leave_out_weights(fit).isel(trial=own)
    weight = weights["weight"].to_numpy()
    predicted = samples(fit.tree["posterior_predictive"].to_dataset()["log_load"]).isel(trial=own)
    low, high = reference_ends(fit, own)
    kind = told["kind"].isel(trial=own).to_numpy()
    low = np.where((kind == BELOW)[:, None], -np.inf, low)
    high = np.where((kind == ABOVE)[:, None], np.inf, high)
    pit_low = (weight * (predicted.to_numpy() < low)).sum(axis=-1)
    pit_high = (weight * (predicted.to_numpy() <= high)).sum(axis=-1)
    bands = [_weighted_quantiles(y, w) for y, w in zip(predicted.to_numpy(), weight, strict=True)]
    made = xr.Dataset(
        {
            "lower": ("trial", np.median(low, axis=-1)),
            "upper": ("trial", np.median(high, axis=-1)),
            "expected": (("trial", "quantile"), np.array(bands).reshape(len(own), len(BAND_90))),
            "pit_low": ("trial", np.clip(pit_low, 0.0, 1.0)),
            "pit_high": ("trial", np.clip(pit_high, 0.0, 1.0)),
            "surprising": ("trial", (pit_high < BAND_90[0]) | (pit_low > BAND_90[-1])),
            "pareto_k": weights["pareto_k"],
        },
        coords={"trial": weights["trial"], "quantile": list(BAND_90)},
    )
    for name, units in (("lower", "log N"), ("upper", "log N"), ("expected", "log N"), ("pit_low", "1")):
        made[name].attrs["units"] = units
    return made


def _kept(fit: Fit, draws: xr.DataArray) -> NDArray[np.float64]:
    """Return those draws that the tree keeps a likelihood of: all, unless the group was thinned."""
    posterior, kept = fit.posterior, fit.tree["log_likelihood"].to_dataset()
    inside = np.isin(posterior["draw"].to_numpy(), kept["draw"].to_numpy())
    chains = posterior.sizes["chain"]
    return draws.to_numpy()[np.tile(inside, chains)]


def reference_ends(fit: Fit, own: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return both ends of some pulls at reference conditions for each draw, as the model has them.

    Parameters
    ----------
    fit : Fit
        A fitted campaign.
    own : array of int
        Positions of the pulls in the fit's inputs.

    Returns
    -------
    tuple of arrays, shape (trial, sample)
        Lower and upper end [log N], equal where a load is known exactly; an open end repeats the other.
    """
    told = fit.inputs.isel(trial=own)
    draws = fit.posterior[["strength_of_fall", "rate_per_decade"]]
    draws = draws.sel(draw=fit.tree["log_likelihood"]["draw"])
    soil = told["soil_of"].isel(seabed=told["seabed_of"])
    rate = samples(draws["rate_per_decade"].isel(soil=soil).reset_coords(drop=True)).to_numpy()
    fall = samples(draws["strength_of_fall"]).to_numpy()[None, :] + np.zeros(rate.shape)
    columns = ("lower", "upper", "kind", "fall_lower", "fall_upper", "fall_slope", "speed")
    data = {name: told[name].to_numpy()[:, None] for name in columns}
    low, high, _ = corrected_ends(data, fall, rate)
    return np.broadcast_to(low, rate.shape), np.broadcast_to(high, rate.shape)


def _weighted_quantiles(values: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    order = np.argsort(values)
    cumulative = np.cumsum(weights[order])
    places = np.searchsorted(cumulative / cumulative[-1], BAND_90)
    return np.asarray(values[order][np.minimum(places, len(values) - 1)])

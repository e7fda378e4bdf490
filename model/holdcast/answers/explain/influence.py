"""Which trials move a cell most, and whether the cell's pulls look like what is expected of them.

Leaving a trial out is done by importance weights instead of a refit: each draw is weighted by one over its
likelihood of the trial, and the weights' tail is smoothed (PSIS: Vehtari, Simpson, Gelman, Yao & Gabry 2024,
*J. Mach. Learn. Res.* 25:72; Vehtari, Gelman & Gabry 2017, *Stat. Comput.* 27:1413; values from memory).
Pareto k says how far to trust it.
"""

from collections.abc import Sequence

import numpy as np
import xarray as xr
from arviz_stats.base import array_stats
from numpy.typing import NDArray

from holdcast.answers.draws.bands import BAND_90
from holdcast.answers.draws.draws import Draws, by_sample, draws_of
from holdcast.answers.draws.provenance import about
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.corrections import corrected_ends
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW

__all__ = [
    "TRUSTED_K",
    "cell_draws",
    "influential_trials",
    "leave_out_weights",
    "pull_check",
    "pulls_of_cell",
    "reference_ends",
    "weighted_quantiles",
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
    draws = draws_of(fit)
    draws.labels("anchor", [anchor]), draws.labels("seabed", [seabed])
    return draws.posterior["log_capacity"].sel(anchor=anchor, seabed=seabed, drop=True)


def pulls_of_cell(draws: Draws, anchor: str, seabed: str) -> NDArray[np.int64]:
    """Return the positions of a cell's used pulls among the fit's.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    of = {"anchor": draws.place("anchor", anchor), "seabed": draws.place("seabed", seabed)}
    return np.flatnonzero(
        np.all([draws.inputs[f"{dim}_of"].to_numpy() == place for dim, place in of.items()], axis=0)
    )


def leave_out_weights(fit: Fit) -> xr.Dataset:
    """Return what each draw counts when one trial is left out.

    Returns
    -------
    Dataset, dims (trial, sample)
        ``weight`` [1], summing to one over the draws that the tree keeps a likelihood of; ``pareto_k``
        (trial).
    """
    return draws_of(fit).once("leave-out weights", lambda: _leave_out_weights(fit))


def _leave_out_weights(fit: Fit) -> xr.Dataset:
    likelihood = by_sample(fit.tree["log_likelihood"].to_dataset()["log_load"]).transpose("trial", "sample")
    # psislw takes log likelihoods and gives the log of one over them, smoothed.
    log_weight, k = array_stats.psislw(likelihood.to_numpy(), axis=-1)
    return xr.Dataset(
        {
            "weight": (
                ("trial", "sample"),
                np.exp(log_weight),
                about("1", "weight of a draw without the trial"),
            ),
            "pareto_k": ("trial", k, about("1", "Pareto k of the weights")),
        },
        coords={"trial": likelihood["trial"]},
    )


def influential_trials(
    fit: Fit, anchor: str, seabed: str, *, weights: xr.Dataset | None = None
) -> xr.Dataset:
    """Return how leaving out each trial moves one cell.

    Parameters
    ----------
    fit : Fit
    anchor, seabed : str
        The cell.
    weights : Dataset, optional
        Those of :func:`leave_out_weights`, where they are at hand.

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
    weights = leave_out_weights(fit) if weights is None else weights
    cell = cell_draws(fit, anchor, seabed).to_numpy()[draws_of(fit).with_likelihood]
    weight = weights["weight"].to_numpy()
    mean, sd = cell.mean(), cell.std()
    without = weight @ cell
    spread = np.sqrt(np.maximum(weight @ (cell**2) - without**2, 0.0))
    inputs = fit.inputs
    influence = xr.Dataset(
        {
            "move": ("trial", (without - mean) / sd),
            "factor": ("trial", np.exp(without - mean)),
            "sd_ratio": ("trial", spread / sd),
            "pareto_k": weights["pareto_k"],
        },
        coords={
            "trial": weights["trial"],
            "anchor": ("trial", inputs["anchor"].to_numpy()[inputs["anchor_of"].to_numpy()]),
            "seabed": ("trial", inputs["seabed"].to_numpy()[inputs["seabed_of"].to_numpy()]),
        },
    )
    for name in influence.data_vars:
        influence[name].attrs.setdefault("units", "1")
    order = np.argsort(-np.abs(influence["move"].to_numpy()), kind="stable")
    return influence.isel(trial=order)


def pull_check(fit: Fit, anchor: str, seabed: str, *, weights: xr.Dataset | None = None) -> xr.Dataset:
    """Compare each pull of a cell with what the other trials lead one to expect of it.

    Parameters
    ----------
    fit, anchor, seabed, weights
        As for :func:`influential_trials`.

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
    own = pulls_of_cell(draws_of(fit), anchor, seabed)
    weights = (leave_out_weights(fit) if weights is None else weights).isel(trial=own)
    weight = weights["weight"].to_numpy()
    predicted = (
        by_sample(fit.tree["posterior_predictive"].to_dataset()["log_load"].isel(trial=own)).to_numpy().T
    )
    low, high = reference_ends(fit, own)
    kind = fit.inputs["kind"].isel(trial=own).to_numpy()
    low = np.where((kind == BELOW)[:, None], -np.inf, low)
    high = np.where((kind == ABOVE)[:, None], np.inf, high)
    pit_low = (weight * (predicted < low)).sum(axis=-1)
    pit_high = (weight * (predicted <= high)).sum(axis=-1)
    bands = [weighted_quantiles(y, w, BAND_90) for y, w in zip(predicted, weight, strict=True)]
    check = xr.Dataset(
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
    for name, units in (
        ("lower", "ln(re 1 N)"),
        ("upper", "ln(re 1 N)"),
        ("expected", "ln(re 1 N)"),
        ("pit_low", "1"),
    ):
        check[name].attrs["units"] = units
    return check


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
    rows, draws = fit.inputs.isel(trial=own), draws_of(fit)
    soil = rows["soil_of"].to_numpy()[rows["seabed_of"].to_numpy()]
    rate = draws["rate_per_decade"][draws.with_likelihood][:, soil].T
    fall = draws["strength_of_fall"][draws.with_likelihood] + np.zeros(rate.shape)
    columns = ("lower", "upper", "kind", "fall_lower", "fall_upper", "fall_slope", "speed")
    data = {name: rows[name].to_numpy()[:, None] for name in columns}
    low, high, _ = corrected_ends(data, fall, rate)
    return np.broadcast_to(low, rate.shape), np.broadcast_to(high, rate.shape)


def weighted_quantiles(
    values: NDArray[np.float64], weights: NDArray[np.float64], quantiles: Sequence[float]
) -> NDArray[np.float64]:
    """Return quantiles of weighted draws, both of shape (sample,)."""
    order = np.argsort(values)
    cumulative = np.cumsum(weights[order])
    places = np.searchsorted(cumulative / cumulative[-1], list(quantiles))
    return np.asarray(values[order][np.minimum(places, len(values) - 1)])

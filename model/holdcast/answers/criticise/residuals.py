"""How far each pull lies from what the model expects of it, on the scale of a standard normal.

A pull's probability-integral transform is the share u of its prediction below it.  A load known only between
two ends has two of them, and u is drawn evenly between: then u is uniform when the model is right, however
the load is known, and z = Φ⁻¹(u) is standard normal (randomised quantile residuals: Dunn & Smyth 1996,
*J. Comput. Graph. Stat.* 5:236, value from memory).  The mean of z over all such random draws,

    E(z | a < z < b) = (φ(a) - φ(b)) / (Φ(b) - Φ(a))

is 0 on average too, and carries no chance of its own; smooths and slopes on the log scale are made of it.

What pulls are predicted from, and whether their anchors set, is told in
:mod:`holdcast.answers.criticise.predictions`.
"""

from collections.abc import Callable, Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from holdcast.answers.criticise.predictions import (
    PREDICTIONS,
    predictions,
    written_setting,
)
from holdcast.answers.explain.influence import TRUSTED_K, leave_out_weights, reference_ends
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, UNREAD

__all__ = ["mean_normal_between", "pit_ends", "randomised_residuals", "residuals"]

_MOST_EXTREME = 1e-9
"""Shares are kept this far from 0 and 1: a few thousand draws say nothing of rarer loads, and z stays within
6 (a choice, no source)."""

Numbers = NDArray[np.float64]


def residuals(fit: Fit, *, seed: int | None = None) -> xr.Dataset:
    """Return the residual of each pull that was used, for each of the three predictions.

    Parameters
    ----------
    fit : Fit
        A fitted campaign.
    seed : int, optional
        Of the random residuals; that of the fit by default.

    Returns
    -------
    Dataset, dims (trial, prediction)
        ``pit_low``, ``pit_high`` [1]: share of the prediction below either end of the load; equal where it is
        known exactly, 0 and 1 where no load was read.  ``residual`` [1]: one random draw, standard normal
        when the model is right.  ``mean_residual`` [1]: the mean of all such draws.  ``expected`` [log N]:
        mean of the predicted log load at reference conditions.  ``spread`` [log N]: standard deviation of
        the branch, set or slid, that the pull belongs to, heavy tails left out, so that
        ``mean_residual × spread`` is a residual on the log scale.  ``sets`` [1]: chance that its anchor sets,
        before anything is known of the pull.  ``setting`` (trial): what the log says of that.  ``pareto_k``
        (trial) [1] and ``left_out`` (trial): whether the pull could be left out; otherwise its prediction has
        seen it.  Coordinates ``anchor``, ``design``, ``seabed``, ``visit`` and ``kind`` (how the load is
        known) of the trial.
    """
    weights = leave_out_weights(fit)
    left_out = weights["pareto_k"].to_numpy() <= TRUSTED_K
    weight = weights["weight"].to_numpy()
    weight = np.where(left_out[:, None], weight, 1.0 / weight.shape[1])
    setting, had_set = written_setting(fit), fit.tree["constant_data"]["had_set"].to_numpy()
    columns = []
    for prediction in predictions(fit, weight).values():
        load = prediction.knowing(setting)
        ends = pit_ends(fit, load.share_below)
        columns.append(
            np.stack([*ends, load.expected(), load.spread(had_set), prediction.chance_of_setting()])
        )
    numbers = _labelled(fit, np.stack(columns, axis=-1), weights["pareto_k"], left_out, seed)
    return numbers.assign(setting=("trial", setting))


def pit_ends(fit: Fit, share_below: Callable[[Numbers, Numbers], Numbers]) -> tuple[Numbers, Numbers]:
    """Return the share of a prediction below either end of each pull's load, both of shape (trial,).

    Parameters
    ----------
    fit : Fit
    share_below : callable
        As :meth:`holdcast.answers.criticise.predictions.Prediction.share_below`.
    """
    inputs = fit.inputs
    kind = inputs["kind"].to_numpy()
    open_ends = np.isin(kind, [BELOW, UNREAD]), np.isin(kind, [ABOVE, UNREAD])
    ends = reference_ends(fit, np.arange(len(kind)))
    shares = []
    for name, end, is_open, beyond in zip(("lower", "upper"), ends, open_ends, (0.0, 1.0), strict=True):
        share = share_below(end, inputs[name].to_numpy()[:, None])
        # Exactly 0 or 1: weights add up to 1 but for rounding, which differs between processors.
        shares.append(np.where(is_open, beyond, share))
    return shares[0], shares[1]


def mean_normal_between(low: Numbers, high: Numbers) -> Numbers:
    """Return the mean of a standard normal whose distribution function lies between two shares.

    Parameters
    ----------
    low, high : arrays of one shape
        Shares, 0 <= low <= high <= 1; where equal, the quantile itself is returned.
    """
    a, b = (ndtri(np.clip(share, _MOST_EXTREME, 1.0 - _MOST_EXTREME)) for share in (low, high))
    width = ndtr(b) - ndtr(a)
    density = (np.exp(-0.5 * a * a) - np.exp(-0.5 * b * b)) / np.sqrt(2.0 * np.pi)
    # Over a very narrow interval the quotient is all rounding, and the middle is exact enough.
    narrow = width < 1e-7
    return np.where(narrow, 0.5 * (a + b), density / np.where(narrow, 1.0, width))


def randomised_residuals(
    low: Numbers, high: Numbers, draws: int, seed: int | Sequence[int]
) -> NDArray[np.float64]:
    """Return random residuals, shape (draws, *shape of low).

    Parameters
    ----------
    low, high : arrays of one shape
        Shares of the prediction below either end of the load.
    draws : int
        How many sets.
    seed : int or sequence of int
        Of the random places between the ends.
    """
    chance = np.random.default_rng(seed).random((draws, *low.shape))
    share = np.clip(low + (high - low) * chance, _MOST_EXTREME, 1.0 - _MOST_EXTREME)
    return np.asarray(ndtri(share), dtype=np.float64)


def _labelled(
    fit: Fit, columns: Numbers, pareto_k: xr.DataArray, left_out: NDArray[np.bool_], seed: int | None
) -> xr.Dataset:
    inputs = fit.inputs
    low, high, expected, spread, sets = columns
    of_random = int(fit.tree.attrs["seed"]) if seed is None else seed
    anchor, dims = inputs["anchor_of"].to_numpy(), ("trial", "prediction")
    one = randomised_residuals(low, high, 1, of_random)[0]
    numbers = xr.Dataset(
        {
            "pit_low": (dims, low, {"units": "1", "long_name": "share of the prediction below the low end"}),
            "pit_high": (
                dims,
                high,
                {"units": "1", "long_name": "share of the prediction below the high end"},
            ),
            "residual": (dims, one, {"units": "1", "long_name": "randomised quantile residual"}),
            "mean_residual": (dims, mean_normal_between(low, high), {"units": "1", "long_name": "its mean"}),
            "expected": (dims, expected, {"units": "ln(re 1 N)", "long_name": "expected log load"}),
            "spread": (dims, spread, {"units": "ln(re 1 N)", "long_name": "spread of the prediction"}),
            "sets": (dims, sets, {"units": "1", "long_name": "chance that the anchor sets"}),
            "pareto_k": pareto_k,
            "left_out": ("trial", left_out),
        },
        coords={
            "trial": inputs["trial"],
            "prediction": list(PREDICTIONS),
            "anchor": ("trial", inputs["anchor"].to_numpy()[anchor]),
            "design": ("trial", inputs["design"].to_numpy()[inputs["design_of"].to_numpy()[anchor]]),
            "seabed": ("trial", inputs["seabed"].to_numpy()[inputs["seabed_of"].to_numpy()]),
            "visit": ("trial", inputs["visit"].to_numpy()[inputs["visit_of"].to_numpy()]),
            "kind": ("trial", inputs["kind"].to_numpy()),
        },
    )
    return numbers.assign_attrs(fit.tree.attrs, seed=of_random)

"""How far each pull lies from what the model expects of it, on the scale of a standard normal.

A pull's probability-integral transform is the share u of its prediction below it.  A load known only between
two ends has two of them, and u is drawn evenly between: then u is uniform when the model is right, however
the load is known, and z = Φ⁻¹(u) is standard normal (randomised quantile residuals: Dunn & Smyth 1996,
*J. Comput. Graph. Stat.* 5:236, value from memory).  The mean of z over all such random draws,

    E(z | a < z < b) = (φ(a) - φ(b)) / (Φ(b) - Φ(a))

is 0 on average too, and carries no chance of its own; smooths and slopes on the log scale are made of it.

What a pull is predicted from decides what a residual can show, since an effect that was fitted to a visit or
a design takes up whatever that visit or design has in common.  So there are three predictions:

- *left out*: everything else as fitted, the draws weighted as if the pull had not been seen (PSIS,
  see :mod:`holdcast.answers.explain.influence`); shows what differs from pull to pull;
- *new visit*: its visit's effect replaced by one of a new visit; shows what differs from visit to visit;
- *new design*: the effects of its design, traits and configuration replaced by those of a new design; shows
  what differs from anchor to anchor.

The last two are mixed predictions (Marshall & Spiegelhalter 2007, *Bayesian Anal.* 2:409, value from memory),
of draws that have seen the pull: they err to the quiet side.
"""

from collections.abc import Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri, stdtr

from holdcast.answers.draws.draws import by_sample
from holdcast.answers.draws.new_pull import load_survival
from holdcast.answers.explain.influence import TRUSTED_K, leave_out_weights, reference_ends
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, DEGREES_OF_FREEDOM
from holdcast.capacity.likelihood.pointwise import pull_draws
from holdcast.capacity.model.design_parts import LOADING
from holdcast.capacity.model.design_split import effects_of_anchors

__all__ = [
    "LEFT_OUT",
    "NEW_DESIGN",
    "NEW_VISIT",
    "PREDICTIONS",
    "mean_normal_between",
    "randomised_residuals",
    "residuals",
]

LEFT_OUT, NEW_VISIT, NEW_DESIGN = "left out", "new visit", "new design"
PREDICTIONS = (LEFT_OUT, NEW_VISIT, NEW_DESIGN)
"""What a pull is predicted from; see the module."""

_MOST_EXTREME = 1e-9
"""Shares are kept this far from 0 and 1: a few thousand draws say nothing of rarer loads, and z stays within
6 (a choice, no source)."""
_NORMAL_WIDTH = float(stdtr(DEGREES_OF_FREEDOM, 1.0) - 0.5)

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
        known exactly.  ``residual`` [1]: one random draw, standard normal when the model is right.
        ``mean_residual`` [1]: the mean of all such draws.  ``expected`` [log N]: centre of the prediction at
        reference conditions.  ``spread`` [log N]: its standard deviation, heavy tails left out, so that
        ``mean_residual × spread`` is a residual on the log scale.  ``pareto_k`` (trial) [1] and ``left_out``
        (trial): whether the pull could be left out; otherwise its prediction has seen it.  Coordinates
        ``anchor``, ``design``, ``seabed``, ``visit`` and ``kind`` (how the load is known) of the trial.
    """
    told = fit.inputs
    weights = leave_out_weights(fit)
    left_out = weights["pareto_k"].to_numpy() <= TRUSTED_K
    weight = weights["weight"].to_numpy()
    weight = np.where(left_out[:, None], weight, 1.0 / weight.shape[1])
    even = np.full_like(weight, 1.0 / weight.shape[1])
    centre, scale, removed, variance = _pulls(fit)
    low, high = reference_ends(fit, np.arange(told.sizes["trial"]))
    kind = told["kind"].to_numpy()
    low = np.where((kind == BELOW)[:, None], -np.inf, low)
    high = np.where((kind == ABOVE)[:, None], np.inf, high)
    found = []
    for prediction in PREDICTIONS:
        given = weight if prediction == LEFT_OUT else even
        moved, more = centre - removed[prediction], variance[prediction]
        expected, spread = _centre_and_spread(moved, scale, more, given)
        below, upto = (_share_below(end, moved, scale, more, given) for end in (low, high))
        # Weights add up to 1 but for rounding, which differs between processors; an open end is open exactly.
        pit = [np.where(kind == BELOW, 0.0, below), np.where(kind == ABOVE, 1.0, upto)]
        found.append(np.stack([*pit, expected, spread]))
    return _labelled(fit, np.stack(found, axis=-1), weights["pareto_k"], left_out, seed)


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


def _pulls(fit: Fit) -> tuple[Numbers, Numbers, dict[str, Numbers], dict[str, Numbers]]:
    """Return centre and scale of each pull, (trial, sample), and what each prediction takes off and adds.

    The variance of a new design's effect in a seabed is the total of all its parts, since a seabed is fully
    like itself; what its traits are worth there is told by their loadings.
    """
    draws = fit.posterior.sel(draw=fit.tree["log_likelihood"]["draw"])
    told = fit.inputs
    pulls = pull_draws(draws, told)
    centre, scale = (
        np.moveaxis(each, 2, 0).reshape(told.sizes["trial"], -1) for each in (pulls.location, pulls.scale)
    )
    anchor, seabed = told["anchor_of"], told["seabed_of"]
    visit = draws["visit_effect"].isel(visit=told["visit_of"])
    design = effects_of_anchors(draws, told).isel(anchor=anchor, seabed=seabed)
    removed = {name: _by_trial(each) for name, each in ((NEW_VISIT, visit), (NEW_DESIGN, design))}
    nothing = np.zeros((1, centre.shape[1]))
    new_visit = by_sample(draws["visit_spread"]).to_numpy()[None, :] ** 2
    new_design = (1.0 - draws["design_share"].sel(part="trait")) * draws["design_spread"] ** 2
    traits = (draws[LOADING] ** 2).sum("trait").isel(seabed=seabed)
    added = {NEW_VISIT: new_visit, NEW_DESIGN: _by_trial(new_design + traits)}
    return centre, scale, {LEFT_OUT: nothing, **removed}, {LEFT_OUT: nothing, **added}


def _by_trial(array: xr.DataArray) -> Numbers:
    return np.asarray(by_sample(array.reset_coords(drop=True)).transpose("trial", "sample").to_numpy())


def _share_below(
    end: Numbers, centre: Numbers, scale: Numbers, variance: Numbers, weight: Numbers
) -> Numbers:
    """Return the weighted share of a Student t plus a normal below each end, shape (trial,)."""
    normal = np.broadcast_to(np.sqrt(variance), end.shape)
    share = [
        weights @ load_survival(-ends, -centres, spreads, scales)
        for ends, centres, spreads, scales, weights in zip(end, centre, normal, scale, weight, strict=True)
    ]
    return np.asarray(np.clip(share, 0.0, 1.0))


def _centre_and_spread(
    centre: Numbers, scale: Numbers, variance: Numbers, weight: Numbers
) -> tuple[Numbers, Numbers]:
    """Return the mean of the centres, and the spread of a normal as wide as the prediction's middle."""
    mean = (weight * centre).sum(axis=-1)
    width = scale / ndtri(0.5 + _NORMAL_WIDTH)
    wide = (weight * (width**2 + variance + (centre - mean[:, None]) ** 2)).sum(axis=-1)
    return mean, np.sqrt(wide)


def _labelled(
    fit: Fit, found: Numbers, pareto_k: xr.DataArray, left_out: NDArray[np.bool_], seed: int | None
) -> xr.Dataset:
    told = fit.inputs
    low, high, expected, spread = found
    chosen = int(fit.tree.attrs["seed"]) if seed is None else seed
    anchor, dims = told["anchor_of"].to_numpy(), ("trial", "prediction")
    one = randomised_residuals(low, high, 1, chosen)[0]
    made = xr.Dataset(
        {
            "pit_low": (dims, low, {"units": "1", "long_name": "share of the prediction below the low end"}),
            "pit_high": (
                dims,
                high,
                {"units": "1", "long_name": "share of the prediction below the high end"},
            ),
            "residual": (dims, one, {"units": "1", "long_name": "randomised quantile residual"}),
            "mean_residual": (dims, mean_normal_between(low, high), {"units": "1", "long_name": "its mean"}),
            "expected": (dims, expected, {"units": "log N", "long_name": "expected log load"}),
            "spread": (dims, spread, {"units": "log N", "long_name": "spread of the prediction"}),
            "pareto_k": pareto_k,
            "left_out": ("trial", left_out),
        },
        coords={
            "trial": told["trial"],
            "prediction": list(PREDICTIONS),
            "anchor": ("trial", told["anchor"].to_numpy()[anchor]),
            "design": ("trial", told["design"].to_numpy()[told["design_of"].to_numpy()[anchor]]),
            "seabed": ("trial", told["seabed"].to_numpy()[told["seabed_of"].to_numpy()]),
            "visit": ("trial", told["visit"].to_numpy()[told["visit_of"].to_numpy()]),
            "kind": ("trial", told["kind"].to_numpy()),
        },
    )
    return made.assign_attrs(fit.tree.attrs, seed=chosen)

"""How far each reset and each veer lies from what the model expects of it when it is left out.

A count of successes has one share of its predicted beta-binomial below it and another up to it; u is drawn
evenly between both, so that Φ⁻¹(u) is standard normal when the model is right (as for pulls, see
:mod:`holdcast.answers.criticise.residuals`).  A veer is a reading of the load at which a straight pull would
break out, turned back by each draw's own loss.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr
from arviz_stats.base import array_stats
from numpy.typing import NDArray

from holdcast.answers.criticise.residuals import mean_normal_between, randomised_residuals
from holdcast.answers.explain.influence import TRUSTED_K
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW
from holdcast.capacity.pointwise.resets_and_veers import reset_draws, veer_draws

__all__ = ["reset_residuals", "veer_residuals"]

Numbers = NDArray[np.float64]


def reset_residuals(fit: Fit, *, seed: int | None = None) -> xr.Dataset:
    """Return the residual of each reset that was used.

    Parameters
    ----------
    fit : Fit
    seed : int, optional
        Of the random residuals; that of the fit by default.

    Returns
    -------
    Dataset, dim reset
        ``attempts``, ``successes``; ``chance`` [1]: predicted share of successes; ``pit_low``, ``pit_high``
        [1]: predicted probability of fewer successes, and of no more; ``residual``, ``mean_residual``,
        ``pareto_k`` and ``left_out`` as for pulls.  Coordinates ``anchor``, ``design``, ``seabed`` and
        ``visit``.
    """
    draws = reset_draws(_kept_draws(fit), fit.inputs)
    weight, pareto_k = _left_out_weights(draws.log_likelihood)
    low, high = ((weight * draws.below(draws.successes + more)).sum(axis=0) for more in (0, 1))
    low = np.where(draws.successes == 0, 0.0, low)
    high = np.where(draws.successes == draws.attempts, 1.0, np.maximum(high, low))
    own = {
        "attempts": draws.attempts,
        "successes": draws.successes,
        "chance": (weight * draws.chance).sum(axis=0),
    }
    return _labelled(fit, "reset", low, high, pareto_k, own, seed)


def veer_residuals(fit: Fit, *, seed: int | None = None) -> xr.Dataset:
    """Return the residual of each veer that was used.

    Returns
    -------
    Dataset, dim veer
        ``expected`` [log N]: load at which a straight pull is expected to break out; the rest as from
        :func:`reset_residuals`, ``pit_low`` and ``pit_high`` being shares below either end of the reading.
    """
    draws = veer_draws(_kept_draws(fit), fit.inputs)
    weight, pareto_k = _left_out_weights(draws.log_likelihood)
    kind = fit.inputs["veer_kind"].to_numpy() if fit.inputs.sizes["veer"] else np.zeros(0)
    low, high = ((weight * draws.below(end)).sum(axis=0) for end in (draws.low, draws.high))
    low, high = np.where(kind == BELOW, 0.0, low), np.where(kind == ABOVE, 1.0, high)
    own = {"expected": (weight * draws.location).sum(axis=0)}
    return _labelled(fit, "veer", low, high, pareto_k, own, seed)


def _kept_draws(fit: Fit) -> xr.Dataset:
    return fit.posterior.sel(draw=fit.tree["log_likelihood"]["draw"])


def _left_out_weights(log_likelihood: Numbers) -> tuple[Numbers, Numbers]:
    """Return what each draw counts without each test, (sample, test), and Pareto k.

    Where that is high, all draws count the same.
    """
    even = np.full(len(log_likelihood), 1.0 / len(log_likelihood))
    weights, pareto_k = (
        np.tile(even[:, None], (1, log_likelihood.shape[1])),
        np.zeros(log_likelihood.shape[1]),
    )
    for test, column in enumerate(log_likelihood.T):
        try:
            log_weight, pareto_k[test] = array_stats.psislw(np.ascontiguousarray(column), axis=-1)
        except ValueError:  # all draws say the same of it, so that leaving it out changes nothing
            continue
        if pareto_k[test] <= TRUSTED_K:
            weights[:, test] = np.exp(log_weight)
    return weights, pareto_k


def _labelled(
    fit: Fit,
    dim: str,
    low: Numbers,
    high: Numbers,
    pareto_k: Numbers,
    own: Mapping[str, NDArray[Any]],
    seed: int | None,
) -> xr.Dataset:
    inputs = fit.inputs
    of_random = int(fit.tree.attrs["seed"]) if seed is None else seed
    low, high = np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0)
    anchor = inputs[f"{dim}_anchor"].to_numpy()
    columns = {
        **own,
        "pit_low": low,
        "pit_high": high,
        "residual": randomised_residuals(low, high, 1, [of_random, 3])[0],
        "mean_residual": mean_normal_between(low, high),
        "pareto_k": pareto_k,
        "left_out": pareto_k <= TRUSTED_K,
    }
    labels = {
        name: (dim, inputs[name].to_numpy()[inputs[f"{dim}_{name}"].to_numpy()])
        for name in ("anchor", "seabed", "visit")
    }
    labels["design"] = (dim, inputs["design"].to_numpy()[inputs["design_of"].to_numpy()[anchor]])
    tests = inputs[dim].to_numpy() if dim in inputs.coords else np.zeros(0, dtype=str)
    residuals = xr.Dataset({name: (dim, values) for name, values in columns.items()}, {dim: tests, **labels})
    return residuals.assign_attrs(seed=of_random)

r"""An update by steps, for new tests that say more than weights can carry.

The draws are led from the old posterior to the new one through :math:`p(\theta) L(\theta)^\tau`, τ rising
from 0 to 1 (tempering: Neal 2001, *Stat. Comput.* 11:125, value from memory). Each step goes as far as half
of the draws still count, draws them anew in proportion to their weights, and moves them apart by a normal
of their own mean and covariance, drawn in a little so that both stay as they were (Liu & West 2001, in
*Sequential Monte Carlo Methods in Practice*, value from memory). The likelihood is worked out anew for the
moved draws, so nothing but the normal shape of the moves is approximate. Two halves of the draws go their
own ways: where they end apart, the update of a cell does not hold.
"""

from dataclasses import replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.bands import BAND_90
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.readings.new_tests import likelihood_of_new

__all__ = ["led_by_steps"]

_DRAWS = 500
"""Of each half."""
_MOVED = 0.3
"""Share of the covariance that each step's moves bring (a choice: clones part within a few steps)."""
_MOST_STEPS = 40
_APART = 0.5
"""Most that a median or band end may differ between the halves, in standard deviations of the cell: the
update is then off by some half of that."""
_POSITIVE = (
    *("pull_scatter", "visit_spread", "spot_spread", "set_concentration", "sliding_efficiency"),
    *("sliding_scatter", "strength_of_fall", "rate_per_decade", "turn"),
)
_ANY_SIGN = (
    "log_capacity",
    "sets_log_odds",
    "resets_log_odds",
    "visit_effect",
    "spot_effect",
    "instrument_error",
)
_TINY = 1e-12


def led_by_steps(draws: Draws, inputs: xr.Dataset) -> tuple[Draws, NDArray[np.bool_]]:
    """Return draws given the new tests too, and for which cells (anchor, seabed) the update holds.

    Parameters
    ----------
    draws : Draws
        Of the fit.
    inputs : Dataset
        Of the log with the new tests, see :func:`holdcast.capacity.inputs.new_tests.lay_out_with`.
    """
    every = np.linspace(0, draws.samples - 1, min(2 * _DRAWS, draws.samples)).astype(int)
    halves = [
        _half(draws, inputs, every[start::2], np.random.default_rng([draws.seed, start])) for start in (0, 1)
    ]
    ends = [np.quantile(half["log_capacity"], BAND_90, axis=0) for half in halves]
    together = xr.concat([half.posterior for half in halves], "sample")
    spread = together["log_capacity"].std("sample").transpose("anchor", "seabed").to_numpy()
    holds = np.abs(ends[0] - ends[1]).max(axis=0) <= _APART * spread
    return _with_posterior(draws, together), holds


def _half(draws: Draws, inputs: xr.Dataset, places: NDArray[np.int64], random: np.random.Generator) -> Draws:
    """Return some of the draws, led to the new posterior."""
    here = _with_posterior(draws, draws.posterior.isel(sample=places))
    reached = 0.0
    for _ in range(_MOST_STEPS):
        log_likelihood = likelihood_of_new(here, inputs)
        step = _step(log_likelihood, 1.0 - reached)
        weight = _weights(step * log_likelihood)
        here = _moved(here, weight, random)
        reached += step
        if reached >= 1.0:
            break
    return here


def _weights(log_weight: Floats) -> Floats:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _step(log_likelihood: Floats, most: float) -> float:
    """Return how far a step may go: half of the draws still count."""
    low, high = 0.0, most
    for _ in range(50):
        middle = 0.5 * (low + high) if low > 0.0 or high < most else most
        if 1.0 / (_weights(middle * log_likelihood) ** 2).sum() >= 0.5 * len(log_likelihood):
            low = middle
            if middle == most:
                return most
        else:
            high = middle
    return max(low, most / _MOST_STEPS)


def _moved(draws: Draws, weight: Floats, random: np.random.Generator) -> Draws:
    """Return draws taken anew by weight and moved apart, mean and covariance kept."""
    names = [name for name in (*_POSITIVE, *_ANY_SIGN) if name in draws and draws[name].size]
    columns = [draws[name].reshape(draws.samples, -1) for name in names]
    values = np.concatenate(
        [
            np.log(np.maximum(column, _TINY)) if name in _POSITIVE else column
            for name, column in zip(names, columns, strict=True)
        ],
        axis=1,
    )
    mean = weight @ values
    apart = np.sqrt(weight)[:, None] * (values - mean)
    steps = (np.arange(len(weight)) + random.random()) / len(weight)
    again = np.minimum(np.searchsorted(np.cumsum(weight), steps), len(weight) - 1)
    noise = random.standard_normal((len(weight), len(weight))) @ apart
    led = mean + np.sqrt(1.0 - _MOVED) * (values[again] - mean) + np.sqrt(_MOVED) * noise
    posterior, first = draws.posterior.copy(), 0
    for name, column in zip(names, columns, strict=True):
        part = led[:, first : first + column.shape[1]].reshape(draws[name].shape)
        first += column.shape[1]
        posterior[name] = posterior[name].copy(data=np.exp(part) if name in _POSITIVE else part)
    return _with_posterior(draws, posterior)


def _with_posterior(draws: Draws, posterior: xr.Dataset) -> Draws:
    """Return the same fit with other draws, as one chain."""
    groups = {name: group.to_dataset() for name, group in draws.fit.tree.children.items()}
    one_chain = posterior.rename(sample="draw").expand_dims("chain")
    tree = xr.DataTree.from_dict(groups | {"posterior": one_chain})
    tree.attrs = dict(draws.fit.tree.attrs)
    return replace(draws, fit=replace(draws.fit, tree=tree))

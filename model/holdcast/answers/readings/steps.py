r"""An update by steps, for new tests that say more than weights can carry.

The draws are led from the old posterior to the new one through :math:`p(\theta) L(\theta)^\tau`, τ rising
from 0 to 1 (tempering: Neal 2001, *Stat. Comput.* 11:125, value from memory). Each step goes as far as half
of the draws still count, draws them anew in proportion to their weights, and moves them apart by a normal
of their own mean and covariance, drawn in a little so that both stay as they were (Liu & West 2001, in
*Sequential Monte Carlo Methods in Practice*, value from memory). The likelihood is worked out anew for the
moved draws, so nothing but the normal shape of the moves is approximate. Two halves of the draws go their
own ways: where they end apart, the update of a cell does not hold.
"""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.bands import BAND_90
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.readings.new_tests import NewTests, values_of
from holdcast.answers.readings.weights import effective_draws

__all__ = ["led_by_steps", "starting_places"]

_DRAWS = 500
"""Of each half."""
_MOVED = 0.3
"""Share of the covariance that each step's moves bring (a choice: clones part within a few steps)."""
_MOST_STEPS = 40
_APART = 0.5
"""Most that a median or band end may differ between the halves, in standard deviations of the cell: the
update is then off by some half of that."""
_POSITIVE = frozenset(
    {
        *("pull_scatter", "visit_spread", "spot_spread", "set_concentration", "sliding_efficiency"),
        *("sliding_scatter", "strength_of_fall", "rate_per_decade", "turn"),
    }
)
"""Moved on the log scale."""
_Values = Mapping[str, Floats]
"""Draws of the variables that new tests depend on, by name, shape (sample, …)."""
_TINY = 1e-12


def starting_places(draws: Draws) -> NDArray[np.int64]:
    """Return the places of the draws that steps start from, of both halves together."""
    return np.linspace(0, draws.samples - 1, min(2 * _DRAWS, draws.samples)).astype(np.int64)


def led_by_steps(draws: Draws, new: NewTests, log_likelihood: Floats) -> tuple[Draws, NDArray[np.bool_]]:
    """Return draws given the new tests too, and for which cells (anchor, seabed) the update holds.

    Parameters
    ----------
    draws : Draws
        Of the fit.
    new : NewTests
        As they are weighed for these draws.
    log_likelihood : array, shape (place,)
        Of the new tests, at :func:`starting_places`.
    """
    every = starting_places(draws)
    values = [values_of(draws, every[start::2]) for start in (0, 1)]

    def half(start: int) -> _Values:
        random = np.random.default_rng([draws.seed, start])
        return _half(values[start], log_likelihood[start::2], new, random)

    with ThreadPoolExecutor(2) as pool:
        halves = list(pool.map(half, (0, 1)))
    ends = [np.quantile(half["log_capacity"], BAND_90, axis=0) for half in halves]
    together = {name: np.concatenate([half[name] for half in halves]) for name in halves[0]}
    holds = np.abs(ends[0] - ends[1]).max(axis=0) <= _APART * together["log_capacity"].std(axis=0)
    places = np.concatenate([every[0::2], every[1::2]])
    return _with_values(draws, places, together), holds


def _half(here: _Values, log_likelihood: Floats, new: NewTests, random: np.random.Generator) -> _Values:
    """Return some of the draws, led to the new posterior."""
    reached = 0.0
    for _ in range(_MOST_STEPS):
        step = _step(log_likelihood, 1.0 - reached)
        here = _moved(here, _weights(step * log_likelihood), random)
        reached += step
        if reached >= 1.0:
            break
        log_likelihood = new.log_likelihood(here)
    return here


def _weights(log_weight: Floats) -> Floats:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _step(log_likelihood: Floats, most: float) -> float:
    """Return how far a step may go: half of the draws still count."""

    def is_short(step: float) -> bool:
        return effective_draws(_weights(step * log_likelihood)) >= 0.5 * len(log_likelihood)

    if is_short(most):
        return most
    low, high = 0.0, most
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if is_short(middle) else (low, middle)
    return max(low, most / _MOST_STEPS)


def _moved(here: _Values, weight: Floats, random: np.random.Generator) -> _Values:
    """Return draws taken anew by weight and moved apart, mean and covariance kept."""
    number = len(weight)
    columns = {name: values.reshape(number, -1) for name, values in here.items() if values.size}
    values = np.concatenate(
        [
            np.log(np.maximum(column, _TINY)) if name in _POSITIVE else column
            for name, column in columns.items()
        ],
        axis=1,
    )
    mean = weight @ values
    values -= mean
    apart = np.sqrt(weight)[:, None] * values
    steps = (np.arange(number) + random.random()) / number
    again = np.minimum(np.searchsorted(np.cumsum(weight), steps), number - 1)
    noise = random.standard_normal((number, number)) @ apart
    # In place: these arrays are large, and new ones take as long as what is reckoned.
    led = values[again]
    led *= np.sqrt(1.0 - _MOVED)
    led += mean
    noise *= np.sqrt(_MOVED)
    led += noise
    moved, first = dict(here), 0
    for name, column in columns.items():
        part = led[:, first : first + column.shape[1]].reshape(here[name].shape)
        first += column.shape[1]
        moved[name] = np.exp(part) if name in _POSITIVE else part
    return moved


def _with_values(draws: Draws, places: NDArray[np.int64], values: _Values) -> Draws:
    """Return the same fit with these draws, as one chain; what new tests do not touch stays as it was."""
    posterior = draws.posterior.isel(sample=places)
    posterior = posterior.assign({name: posterior[name].copy(data=values[name]) for name in values})
    groups = {name: group.to_dataset() for name, group in draws.fit.tree.children.items()}
    one_chain = posterior.rename(sample="draw").expand_dims("chain")
    tree = xr.DataTree.from_dict(groups | {"posterior": one_chain})
    tree.attrs = dict(draws.fit.tree.attrs)
    return replace(draws, fit=replace(draws.fit, tree=tree))

"""Which draws, and at which weights, stand for what is known once new tests are in; and for which cells.

Where no few draws carry the weights, the weights are the update.  As good as fewer than 400 draws, they are
rough and a refit is due, but they are still right within the error of so few.  Where that fails too, the
draws are led to the new tests by steps.  Some of the draws are weighed first: where these already show that
weights are hopeless, the others are not weighed at all.
"""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.bands import BAND_90
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.readings.new_tests import NewTests, values_of
from holdcast.answers.readings.steps import led_by_steps, starting_places
from holdcast.answers.readings.weights import (
    LEAST_ROUGH_DRAWS,
    QUANTILE_ERROR,
    Weights,
    weigh,
    weighted_quantiles,
)

__all__ = ["Update", "even_weight", "updated_draws"]

_HOPELESS = 0.25
"""Share of `LEAST_ROUGH_DRAWS` that all draws would come to, going by some of them, below which the others
are not weighed (a choice: a quarter of the draws tell that number to within a factor of two or so)."""

_WIDEST_ERROR = 0.25
"""Most that the standard error of a cell's median or band ends may be, in standard deviations of its log
capacity (a choice, as for updates by steps: these may be off by about half of half a standard deviation)."""


@dataclass(frozen=True)
class Update:
    """What is known once new tests are in.

    Attributes
    ----------
    draws : Draws
        Of the fit, or led to the new tests by steps.
    weight : array, shape (sample,)
        What each draw counts [1], summing to 1.
    holds : array of bool, shape (anchor, seabed)
        Whether the update of a cell holds.
    by_steps : bool
        Whether the draws were led by steps.
    weights : Weights
        Of the fit's draws, given the new tests; of some of them, where these show that weights are hopeless.
    """

    draws: Draws
    weight: Floats
    holds: NDArray[np.bool_]
    by_steps: bool
    weights: Weights


def updated_draws(draws: Draws, inputs: xr.Dataset) -> Update:
    """Return the draws that stand for the posterior given the new tests too.

    Parameters
    ----------
    draws : Draws
        Of the fit.
    inputs : Dataset
        Of the log with the new tests, see :func:`holdcast.capacity.inputs.new_tests.lay_out_with`.
    """
    new = NewTests(draws, inputs)
    some = starting_places(draws)
    log_likelihood = np.empty(draws.samples)
    log_likelihood[some] = new.log_likelihood(values_of(draws, some))
    weights = weigh(log_likelihood[some])
    if weights.effective * draws.samples / some.size >= _HOPELESS * LEAST_ROUGH_DRAWS:
        others = np.setdiff1d(np.arange(draws.samples), some)
        log_likelihood[others] = new.log_likelihood(values_of(draws, others))
        weights = weigh(log_likelihood)
        if weights.trusted or weights.rough:
            return _by_weights(draws, weights)
    led, agree = led_by_steps(draws, new, log_likelihood[some])
    return Update(led, even_weight(led), agree, by_steps=True, weights=weights)


def _by_weights(draws: Draws, weights: Weights) -> Update:
    """Return the fit's own draws with their weights, and for which cells so many draws are enough."""
    holds = np.ones(draws["log_capacity"].shape[1:], dtype=bool)
    if not weights.trusted:
        holds = (quantile_errors(draws["log_capacity"], weights.weight) <= _WIDEST_ERROR).all(axis=-1)
    return Update(draws, weights.weight, holds, by_steps=False, weights=weights)


def even_weight(draws: Draws) -> Floats:
    """Return the same weight for every draw, shape (sample,) [1]."""
    return np.full(draws.samples, 1.0 / draws.samples)


def quantile_errors(values: Floats, weight: Floats) -> Floats:
    r"""Return the standard error of weighted 5%, 50% and 95% quantiles, in standard deviations of the values.

    Parameters
    ----------
    values : array, shape (sample, ...)
    weight : array, shape (sample,)
        Summing to 1.

    Returns
    -------
    array, shape (..., 3) [1]
        :math:`\sqrt{\sum_i w_i^2 (1[x_i \le q] - p)^2}` over the density of a normal at its quantile
        (delta method for weighted means, draws taken as independent; computed).
    """
    ends = weighted_quantiles(values, weight, BAND_90)
    level = np.array(BAND_90)
    below = (values[..., None] <= ends) - level
    error = np.sqrt(np.tensordot(weight**2, below**2, axes=1))
    return np.asarray(error / np.sqrt(level * (1.0 - level)) * QUANTILE_ERROR)

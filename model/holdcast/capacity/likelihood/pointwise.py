"""The likelihood of each pull, evaluated on draws; the model itself has only the sum (tests compare them)."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pytensor
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.likelihood.corrections import corrected_ends
from holdcast.capacity.likelihood.interval import interval_log_likelihood
from holdcast.capacity.symbols import AS_IT_STANDS

__all__ = ["PullDraws", "pull_draws", "shifted_log_likelihoods"]

Numbers = NDArray[np.float64]
_ORDER = ("chain", "draw", "trial")


@dataclass(frozen=True)
class PullDraws:
    """What draws say of each pull; arrays of shape (chain, draw, trial).

    Attributes
    ----------
    log_likelihood : log density of an exact row, log probability of another.
    location, scale : median and scale of the log load at reference conditions [log N].
    """

    log_likelihood: Numbers
    location: Numbers
    scale: Numbers


def pull_draws(draws: xr.Dataset, inputs: xr.Dataset) -> PullDraws:
    """Return likelihood, median and scale of each pull for each draw.

    Parameters
    ----------
    draws : Dataset
        Posterior draws, dims (chain, draw, …).
    inputs : Dataset
        What the model was told.
    """
    location, scale = _moments(draws, inputs)
    return PullDraws(_log_likelihood(draws, inputs)(location, scale), location, scale)


def shifted_log_likelihoods(
    draws: xr.Dataset, inputs: xr.Dataset, shifts: Iterable[float | Numbers]
) -> Iterator[Numbers]:
    """Yield the log likelihood of each pull for each draw, were the capacities other ones.

    Parameters
    ----------
    draws, inputs : Dataset
        As for :func:`pull_draws`.
    shifts : iterable of number or array, shape (chain, draw, trial)
        Each is added to every median [log N].

    Yields
    ------
    array, shape (chain, draw, trial)
        Log density of an exact row, log probability of another.
    """
    location, scale = _moments(draws, inputs)
    evaluate = _log_likelihood(draws, inputs)
    for shift in shifts:
        yield evaluate(location + shift, scale)


def _log_likelihood(draws: xr.Dataset, inputs: xr.Dataset) -> Callable[[Numbers, Numbers], Numbers]:
    """Return the log likelihood of each pull as a function of its median and scale."""
    low, high, jacobian = _ends(draws, inputs)
    at, width, lower, upper = symbols = [pytensor.tensor.tensor3() for _ in range(4)]
    graph = interval_log_likelihood(at, width, lower, upper, inputs["kind"].to_numpy())
    rows = pytensor.function(symbols, graph, mode=AS_IT_STANDS)
    return lambda location, scale: rows(location, scale, low, high) + jacobian


def _moments(draws: xr.Dataset, inputs: xr.Dataset) -> tuple[Numbers, Numbers]:
    """Return median and scale of each pull's log load, shape (chain, draw, trial)."""
    cell = {"anchor": inputs["anchor_of"], "seabed": inputs["seabed_of"]}
    location = draws["log_capacity"].isel(cell) + draws["visit_effect"].isel(visit=inputs["visit_of"])
    scale = draws["pull_scatter"].isel(seabed=inputs["seabed_of"])
    return location.transpose(*_ORDER).to_numpy(), scale.transpose(*_ORDER).to_numpy()


def _ends(draws: xr.Dataset, inputs: xr.Dataset) -> list[Numbers]:
    """Return each pull's ends at reference conditions and its Jacobian, by the model's own corrections."""
    rate = draws["rate_per_decade"].isel(soil=inputs["soil_of"].isel(seabed=inputs["seabed_of"]))
    fall = draws["strength_of_fall"].expand_dims(trial=inputs["trial"])
    symbols = [pytensor.tensor.tensor3(name) for name in ("fall", "rate")]
    data = {str(name): array.to_numpy() for name, array in inputs.data_vars.items()}
    evaluate = pytensor.function(symbols, corrected_ends(data, *symbols), mode=AS_IT_STANDS)
    return list(evaluate(*(each.transpose(*_ORDER).to_numpy() for each in (fall, rate))))

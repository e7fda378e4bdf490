"""What draws say of pulls they did not see: the probability below both ends of each pull's interval."""

from dataclasses import dataclass

import numpy as np
import pytensor
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.likelihood.corrections import corrected_ends
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, UNREAD
from holdcast.capacity.plain_evaluation import AS_IT_STANDS
from holdcast.capacity.pointwise.pulls import pull_draws

__all__ = ["HeldOut", "held_out"]

Array = NDArray[np.float64]
_VERY_LARGE = 1e9
"""Concentration of a beta distribution that is its mean."""


@dataclass(frozen=True)
class HeldOut:
    """What each draw says of each held-out pull; arrays of shape (sample, trial).

    Attributes
    ----------
    log_likelihood : log density of an exact load (by log of its reading), log probability of an interval.
    below, upto : probability of a load below the interval's lower end (0 when open) and below its upper end
        (1 when open); equal for an exact load.
    low, high : the interval's ends at reference conditions [log N]; minus and plus infinity when open.
    load : one load drawn of each prediction [log N].
    """

    log_likelihood: Array
    below: Array
    upto: Array
    low: Array
    high: Array
    load: Array


def held_out(posterior: xr.Dataset, inputs: xr.Dataset, trials: NDArray[np.int64], *, seed: int) -> HeldOut:
    """Return what the draws say of some pulls.

    Parameters
    ----------
    posterior : Dataset
        Draws, dims (chain, draw, …), of a fit to other pulls of the same anchors, seabeds and visits.
    inputs : Dataset
        The pulls with their true readings (not hidden).
    trials : array of int
        Positions of the pulls asked for.
    seed : int
        Of the loads drawn.

    Returns
    -------
    HeldOut
        A visit of which no pull was seen has its effect drawn from the prior, as a new visit's would be; no
        pull says whether the anchor of another one set.
    """
    rows = inputs.isel(trial=trials)
    drawn = pull_draws(_each_for_itself(posterior), rows)
    shape, flat = drawn.location.shape, (-1, len(trials))
    low, high = (end.reshape(shape) for end in _ends(posterior, rows, drawn.location.reshape(flat).shape))
    below, upto = (
        drawn.below(end, np.where(is_open, infinite, rows[name].to_numpy()))
        for end, name, infinite, is_open in zip(
            (low, high), ("lower", "upper"), (-np.inf, np.inf), _open_ends(rows), strict=True
        )
    )
    load = drawn.replicate(np.random.default_rng(seed))
    return HeldOut(*(part.reshape(flat) for part in (drawn.log_likelihood, below, upto, low, high, load)))


def _each_for_itself(posterior: xr.Dataset) -> xr.Dataset:
    """Return the draws with visits that do not differ in their chance of setting beyond the cell's own.

    Pulls of one spot then tell nothing of each other's setting, all of them being hidden.
    """
    return posterior.assign(set_concentration=0.0 * posterior["set_concentration"] + _VERY_LARGE)


def _open_ends(rows: xr.Dataset) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return where each pull's load is open below and where above, both of shape (trial,)."""
    kind = rows["kind"].to_numpy()
    return np.isin(kind, [BELOW, UNREAD]), np.isin(kind, [ABOVE, UNREAD])


def _ends(posterior: xr.Dataset, rows: xr.Dataset, shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Return the ends of each interval, corrected by each draw's own fall and rate effects."""
    rate = posterior["rate_per_decade"].isel(soil=rows["soil_of"].isel(seabed=rows["seabed_of"]))
    fall = posterior["strength_of_fall"].expand_dims(trial=rows["trial"])
    order = ("chain", "draw", "trial")
    symbols = [pytensor.tensor.matrix(name) for name in ("fall", "rate")]
    data = {str(name): array.to_numpy() for name, array in rows.data_vars.items()}
    # Evaluated in Python: compiling would take longer than this one pass.
    ends = pytensor.function(symbols, list(corrected_ends(data, *symbols)[:2]), mode=AS_IT_STANDS)
    low, high = ends(*(array.transpose(*order).to_numpy().reshape(shape) for array in (fall, rate)))
    open_below, open_above = _open_ends(rows)
    return np.where(open_below, -np.inf, low), np.where(open_above, np.inf, high)

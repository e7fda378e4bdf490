"""What draws say of pulls they did not see: the probability below both ends of each pull's interval."""

from dataclasses import dataclass

import numpy as np
import pytensor
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.likelihood.corrections import corrected_ends
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW
from holdcast.capacity.likelihood.pointwise import pull_draws
from holdcast.capacity.plain_evaluation import AS_IT_STANDS

__all__ = ["HeldOut", "held_out"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class HeldOut:
    """What each draw says of each held-out pull; arrays of shape (sample, trial).

    Attributes
    ----------
    log_likelihood : log density of an exact load (by log of its reading), log probability of an interval.
    below, upto : probability of a load below the interval's lower end (0 when open) and below its upper end
        (1 when open); equal for an exact load.
    low, high : the interval's ends at reference conditions [log N]; minus and plus infinity when open.
    location, scale : median and scale of the log load [log N] and [1].
    """

    log_likelihood: Array
    below: Array
    upto: Array
    low: Array
    high: Array
    location: Array
    scale: Array


def held_out(posterior: xr.Dataset, inputs: xr.Dataset, trials: NDArray[np.int64]) -> HeldOut:
    """Return what the draws say of some pulls.

    Parameters
    ----------
    posterior : Dataset
        Draws, dims (chain, draw, …), of a fit to other pulls of the same anchors, seabeds and visits.
    inputs : Dataset
        The pulls with their true readings (not hidden).
    trials : array of int
        Positions of the pulls asked for.

    Returns
    -------
    HeldOut
        A visit of which no pull was seen has its effect drawn from the prior, as a new visit's would be.
    """
    rows = inputs.isel(trial=trials)
    drawn = pull_draws(posterior, rows)
    likelihood, location, scale = (
        array.reshape(-1, len(trials)) for array in (drawn.log_likelihood, drawn.location, drawn.scale)
    )
    low, high = _ends(posterior, rows, location.shape)
    shape = drawn.location.shape
    below, upto = (drawn.below(end.reshape(shape)).reshape(location.shape) for end in (low, high))
    return HeldOut(likelihood, below, upto, low, high, location, scale)


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
    kind = data["kind"]
    return np.where(kind == BELOW, -np.inf, low), np.where(kind == ABOVE, np.inf, high)

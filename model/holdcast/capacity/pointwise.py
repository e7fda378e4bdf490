"""The model's own likelihood of each pull, evaluated on draws without compiling anything."""

from dataclasses import dataclass

import numpy as np
import pytensor
import xarray as xr
from numpy.typing import NDArray
from pytensor.compile.mode import Mode

from holdcast.capacity.corrections import corrected_ends
from holdcast.capacity.interval import interval_log_likelihood

__all__ = ["PullDraws", "pull_draws"]


@dataclass(frozen=True)
class PullDraws:
    """What draws say of each pull; arrays of shape (chain, draw, trial).

    Attributes
    ----------
    log_likelihood : log density of an exact row, log probability of another.
    location, scale : median and scale of the log load at reference conditions [log N].
    """

    log_likelihood: NDArray[np.float64]
    location: NDArray[np.float64]
    scale: NDArray[np.float64]


def pull_draws(draws: xr.Dataset, inputs: xr.Dataset, shift: float | NDArray[np.float64] = 0.0) -> PullDraws:
    """Return likelihood, median and scale of each pull for each draw.

    Parameters
    ----------
    draws : Dataset
        Posterior draws, dims (chain, draw, …).
    inputs : Dataset
        What the model was told.
    shift : float or array, shape (chain, draw, trial)
        Added to every median [log N]: what if the capacity were that much higher.
    """
    seabed_of = inputs["seabed_of"]
    cell = {"anchor": inputs["anchor_of"], "seabed": seabed_of}
    location = draws["log_capacity"].isel(cell) + draws["visit_effect"].isel(visit=inputs["visit_of"])
    scale = draws["pull_scatter"].isel(seabed=seabed_of)
    rate = draws["rate_per_decade"].isel(soil=inputs["soil_of"].isel(seabed=seabed_of))
    fall = draws["strength_of_fall"].expand_dims(trial=inputs["trial"])
    order = ("chain", "draw", "trial")
    arrays = [array.transpose(*order).to_numpy() for array in (location, scale, fall, rate)]
    arrays[0] = arrays[0] + shift
    symbols = [pytensor.tensor.tensor3(name) for name in ("location", "scale", "fall", "rate")]
    data = {str(name): array.to_numpy() for name, array in inputs.data_vars.items()}
    low, high, jacobian = corrected_ends(data, symbols[2], symbols[3])
    total = interval_log_likelihood(symbols[0], symbols[1], low, high, data["kind"]) + jacobian
    evaluate = pytensor.function(symbols, total, mode=Mode(linker="py", optimizer=None))
    return PullDraws(evaluate(*arrays), arrays[0], arrays[1])

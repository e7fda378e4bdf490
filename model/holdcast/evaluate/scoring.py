"""Scores of predictions of pulls that are known as intervals."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import logsumexp

from holdcast.evaluate.predictive import held_out

__all__ = ["BANDS", "band_share", "pull_scores"]

Array = NDArray[np.float64]
BANDS = (0.5, 0.9)
"""Probabilities of the bands that are scored, equal-tailed."""


def band_share(below: Array, upto: Array, low: float, high: float) -> Array:
    """Return how much of each pull's probability between two ends falls between two quantiles.

    Parameters
    ----------
    below, upto : arrays
        Predicted probability of a load below the pull's lower end, and below its upper end.
    low, high : float
        Ends of the band, as probabilities.

    Returns
    -------
    array
        0 to 1: 1 when the whole interval lies inside the band.  Its mean over pulls is the band's nominal
        probability when predictions are calibrated, whatever the intervals (the non-randomised PIT: Czado,
        Gneiting & Held 2009, *Biometrics* 65:1254, value from memory).
    """
    width = upto - below
    overlap = np.clip(np.minimum(upto, high) - np.maximum(below, low), 0.0, None)
    point = ((below >= low) & (below <= high)).astype(float)
    return np.where(width > 0.0, overlap / np.where(width > 0.0, width, 1.0), point)


def pull_scores(
    posterior: xr.Dataset, inputs: xr.Dataset, trials: NDArray[np.int64], *, seed: int
) -> xr.Dataset:
    """Return how well each of some held-out pulls was predicted.

    Parameters
    ----------
    posterior : Dataset
        Draws of a refit that did not see these pulls.
    inputs : Dataset
        The pulls with their true readings.
    trials : array of int
        Positions of the held-out pulls.
    seed : int
        Of the randomised PIT and the predicted pulls.

    Returns
    -------
    Dataset, dim trial
        ``log_score``: log predictive probability of the interval, of an exact load log density; ``below``,
        ``upto``: predictive probability below either end; ``pit``: a uniform draw between both (uniform over
        pulls when calibrated); ``inside_50``, ``inside_90``: see :func:`band_share`; ``miss``: log distance
        from the predicted median to the interval, 0 inside; ``width_90``: width of the 90% band of the pull,
        log scale; ``capacity_width_90``: that of the capacity.
    """
    drawn = held_out(posterior, inputs, trials, seed=seed)
    below, upto = drawn.below.mean(axis=0), drawn.upto.mean(axis=0)
    generator = np.random.default_rng([seed, 1])
    lowest, middle, highest = np.quantile(drawn.load, (0.05, 0.5, 0.95), axis=0)
    low, high = drawn.low.mean(axis=0), drawn.high.mean(axis=0)
    rows = inputs.isel(trial=trials)
    capacity = posterior["log_capacity"].isel(anchor=rows["anchor_of"], seabed=rows["seabed_of"])
    width = capacity.quantile(0.95, ("chain", "draw")) - capacity.quantile(0.05, ("chain", "draw"))
    scores = {
        "log_score": logsumexp(drawn.log_likelihood, axis=0) - np.log(len(drawn.load)),
        "below": below,
        "upto": upto,
        "pit": generator.uniform(below, np.maximum(upto, below)),
        **{
            f"inside_{round(100 * band)}": band_share(below, upto, 0.5 - band / 2.0, 0.5 + band / 2.0)
            for band in BANDS
        },
        "miss": np.maximum(np.maximum(low - middle, middle - high), 0.0),
        "width_90": highest - lowest,
        "capacity_width_90": width.to_numpy(),
    }
    return xr.Dataset({name: ("trial", values) for name, values in scores.items()}, {"trial": rows["trial"]})

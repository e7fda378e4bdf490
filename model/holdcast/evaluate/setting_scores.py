"""Scores of what was predicted of hidden resets and veers, and of whether hidden pulls' anchors set."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import expit, logsumexp

from holdcast.capacity.likelihood.kinds import ABOVE, DID_NOT_SET, NOT_SAID, SET
from holdcast.capacity.pointwise.resets_and_veers import reset_draws, veer_draws
from holdcast.evaluate.scoring import BANDS, band_share

__all__ = ["reset_scores", "setting_scores", "veer_scores"]

Array = NDArray[np.float64]


def reset_scores(posterior: xr.Dataset, inputs: xr.Dataset, resets: NDArray[np.int64]) -> xr.Dataset:
    """Return how well each of some hidden resets was predicted.

    Parameters
    ----------
    posterior : Dataset
        Draws of a refit that did not see these resets.
    inputs : Dataset
        The resets with their true counts.
    resets : array of int
        Positions of the hidden resets.

    Returns
    -------
    Dataset, dim reset
        ``attempts``; ``seen`` [1]: share of successes; ``log_score``: log predictive probability of the
        count; ``brier``: mean squared difference between the predicted chance and the outcome of an attempt
        (Brier 1950, *Mon. Weather Rev.* 78:1, value from memory); ``inside_50``, ``inside_90``: share of the
        count's predicted probability within the band, see :func:`holdcast.evaluate.scoring.band_share`.
    """
    rows = inputs.isel(reset=resets)
    said = reset_draws(posterior, rows)
    chance, share = said.chance.mean(axis=0), said.successes / np.maximum(said.attempts, 1)
    below, upto = (said.below(said.successes + more).mean(axis=0) for more in (0, 1))
    columns = {
        "attempts": said.attempts,
        "seen": share,
        "log_score": _mean_log(said.log_likelihood),
        "brier": share * (1.0 - chance) ** 2 + (1.0 - share) * chance**2,
        **_inside(below, np.maximum(upto, below)),
    }
    return _by("reset", columns, rows)


def veer_scores(posterior: xr.Dataset, inputs: xr.Dataset, veers: NDArray[np.int64]) -> xr.Dataset:
    """Return how well each of some hidden veers was predicted.

    Returns
    -------
    Dataset, dim veer
        ``log_score``: log predictive probability of what was read (of an exact load, log density);
        ``inside_50``, ``inside_90`` as of a pull.
    """
    rows = inputs.isel(veer=veers)
    said = veer_draws(posterior, rows)
    below, upto = (said.below(end).mean(axis=0) for end in (said.low, said.high))
    return _by("veer", {"log_score": _mean_log(said.log_likelihood), **_inside(below, upto)}, rows)


def setting_scores(posterior: xr.Dataset, inputs: xr.Dataset, trials: NDArray[np.int64]) -> xr.Dataset:
    """Return how well it was predicted whether the anchors of some hidden pulls set, where the log says so.

    Returns
    -------
    Dataset, dim trial, only pulls of which it is said
        ``seen``: 1 where it set; ``log_score``: log predictive probability of what is said; ``brier`` as of
        one attempt of a reset.
    """
    rows = inputs.isel(trial=trials)
    setting, kind = rows["setting"].to_numpy(), rows["kind"].to_numpy()
    # One that was stopped while holding is known to have set by its load alone.
    said = (setting == DID_NOT_SET) | ((setting == SET) & (kind != ABOVE))
    rows = rows.isel(trial=np.flatnonzero(said & (setting != NOT_SAID)))
    odds = posterior["sets_log_odds"].isel(anchor=rows["anchor_of"], seabed=rows["seabed_of"])
    chance = expit(odds.to_numpy()).mean(axis=tuple(odds.get_axis_num(["chain", "draw"])))
    seen = (rows["setting"].to_numpy() == SET).astype(float)
    of_outcome = np.where(seen == 1.0, chance, 1.0 - chance)
    columns = {
        "seen": seen,
        "log_score": np.log(np.maximum(of_outcome, 1e-12)),
        "brier": (1.0 - of_outcome) ** 2,
    }
    return _by("trial", columns, rows)


def _mean_log(log_likelihood: Array) -> Array:
    return np.asarray(logsumexp(log_likelihood, axis=0) - np.log(len(log_likelihood)))


def _inside(below: Array, upto: Array) -> dict[str, Array]:
    return {
        f"inside_{round(100 * band)}": band_share(below, upto, 0.5 - band / 2.0, 0.5 + band / 2.0)
        for band in BANDS
    }


def _by(dim: str, columns: Mapping[str, NDArray[Any]], rows: xr.Dataset) -> xr.Dataset:
    return xr.Dataset({name: (dim, values) for name, values in columns.items()}, {dim: rows[dim]})

"""How well hidden readings and the means of hidden cells were foretold."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import logsumexp

from holdcast.evaluate.predictive import HeldOut

__all__ = ["score_cells", "score_readings"]


def score_readings(said: HeldOut) -> dict[str, list[float]]:
    """Return, a number a hidden reading: probability below either end, log score, miss, width.

    ``miss`` is the log distance from the predicted median to the reading, ``width`` that of the 90% band.
    """
    lowest, middle, highest = np.quantile(said.load, (0.05, 0.5, 0.95), axis=0)
    low, high = said.low.mean(axis=0), said.high.mean(axis=0)
    return _rounded(
        below=said.below.mean(axis=0),
        upto=said.upto.mean(axis=0),
        log_score=logsumexp(said.log_likelihood, axis=0) - np.log(len(said.load)),
        miss=np.maximum(np.maximum(low - middle, middle - high), 0.0),
        width=highest - lowest,
    )


def score_cells(said: HeldOut, cell: NDArray[np.int64], truth: xr.Dataset) -> dict[str, list[float]]:
    """Return, a number a hidden cell, in order: where the mean log reading lies among its predictions.

    ``pit`` is the share of predicted means below the true one, ``miss`` the distance of their medians,
    ``width`` that of the 90% band.  A count of n is taken in the middle of n to n + 1.

    Parameters
    ----------
    said : HeldOut
        Of all hidden pulls of these cells.
    cell : array of int, shape (trial,)
        Of each of them.
    truth : Dataset
        The same pulls as they truly were.
    """
    lower, upper = (np.exp(truth[name].to_numpy()) for name in ("lower", "upper"))
    lower = np.where(truth["kind"].to_numpy() == 1, 0.0, lower)
    reading = np.log(0.5 * (lower + upper))
    share = (np.unique(cell)[:, None] == cell).astype(float)
    share /= share.sum(axis=1, keepdims=True)
    true_mean, means = share @ reading, said.load @ share.T
    lowest, middle, highest = np.quantile(means, (0.05, 0.5, 0.95), axis=0)
    return _rounded(
        pit=(means < true_mean).mean(axis=0), miss=np.abs(middle - true_mean), width=highest - lowest
    )


def _rounded(**values: NDArray[np.float64]) -> dict[str, list[float]]:
    return {name: np.round(numbers, 4).tolist() for name, numbers in values.items()}

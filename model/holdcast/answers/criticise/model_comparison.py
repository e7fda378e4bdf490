"""Which of several models of the same pulls predicts a pull that it has not seen better.

Each model is scored by the log density that it gives each pull when that pull is left out, summed over
pulls (elpd; leave-one-out by Pareto-smoothed importance sampling: Vehtari, Gelman & Gabry 2017, *Stat.
Comput.* 27:1413; value from memory).  Stacking gives the weights with which a mixture of the models predicts
best (Yao, Vehtari, Simpson & Gelman 2018, *Bayesian Anal.* 13:917, value from memory).

A difference below 4 is small, and its standard error then cannot be relied on; a larger one means something
when it is at least twice its error (Sivula, Magnusson, Matamoros & Vehtari 2020, arXiv:2008.10296, value from
memory).  Pulls of one visit or anchor are no independent evidence, so the error is also computed by clusters,
and the larger of both counts.
"""

import warnings
from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr
from arviz_stats import compare, loo
from arviz_stats.utils import ELPDData
from numpy.typing import NDArray

from holdcast.answers.criticise.clustered_regression import clustered_line
from holdcast.answers.explain.influence import TRUSTED_K

__all__ = ["CLEAR_ERRORS", "SMALL_DIFFERENCE", "model_comparison"]

SMALL_DIFFERENCE = 4.0
"""Differences of elpd below this are small (Sivula et al. 2020, value from memory)."""
CLEAR_ERRORS = 2.0
"""A difference is clear from this many standard errors on (common practice, as Sivula et al. 2020)."""


def model_comparison(
    log_likelihoods: Mapping[str, xr.DataArray], clusters: Sequence[NDArray[np.int64]] = ()
) -> xr.Dataset:
    """Return how well each model predicts pulls left out, against the first one.

    Parameters
    ----------
    log_likelihoods : mapping of str to DataArray, dims (chain, draw, trial)
        By the model's name, of the same trials in the same order; the first is what others are compared with.
    clusters : up to two integer arrays, shape (trial,)
        Visit and anchor of each trial; without them trials count as independent.

    Returns
    -------
    Dataset, dim model, in the order given
        ``elpd`` and ``elpd_error`` [nat]; ``difference`` from the first [nat], positive where it predicts
        better, with ``difference_error``; ``weight`` [1] in the stacked mixture; ``high_k``: number of pulls
        whose Pareto k is above 0.7, so that leaving them out is not to be trusted; ``finding``:
        ``reference``, ``no difference`` (below 4), ``unclear`` (below two errors), ``better`` or ``worse``.

    Raises
    ------
    ValueError
        When there are fewer than two models, or they are not about the same trials.
    """
    if len(log_likelihoods) < 2:
        raise ValueError(f"a comparison needs two models or more, got {len(log_likelihoods)}")
    first, *others = log_likelihoods
    trials = log_likelihoods[first]["trial"].to_numpy()
    for name in others:
        if not np.array_equal(log_likelihoods[name]["trial"].to_numpy(), trials):
            raise ValueError(f"model {name!r} is not about the same trials as {first!r}, in the same order")
    with warnings.catch_warnings():
        # Unreliable pulls are counted and told below, for each model.
        warnings.simplefilter("ignore", UserWarning)
        scored = {name: _scored(values) for name, values in log_likelihoods.items()}
        weights = compare(scored, method="stacking", round_to="none")["weight"]
    pointwise = {name: np.asarray(score.elpd_i) for name, score in scored.items()}
    pairs = [_difference(pointwise[name] - pointwise[first], clusters) for name in log_likelihoods]
    comparison = xr.Dataset(
        {
            "elpd": ("model", [float(score.elpd) for score in scored.values()], {"units": "nat"}),
            "elpd_error": ("model", [float(score.se) for score in scored.values()], {"units": "nat"}),
            "difference": ("model", [value for value, _ in pairs], {"units": "nat"}),
            "difference_error": ("model", [error for _, error in pairs], {"units": "nat"}),
            "weight": ("model", [float(weights[name]) for name in scored], {"units": "1"}),
            "high_k": ("model", [int((score.pareto_k > TRUSTED_K).sum()) for score in scored.values()]),
            "finding": ("model", ["reference", *(_finding(*pair) for pair in pairs[1:])]),
        },
        coords={"model": list(log_likelihoods)},
    )
    return comparison.assign_attrs(pulls=len(trials))


def _scored(values: xr.DataArray) -> ELPDData:
    """Return the library's own result of leaving each pull out."""
    tree = xr.DataTree.from_dict({"log_likelihood": values.to_dataset(name="log_load")})
    return loo(tree, pointwise=True, reff=1.0)


def _difference(by_pull: NDArray[np.float64], clusters: Sequence[NDArray[np.int64]]) -> tuple[float, float]:
    """Return the sum of a difference over pulls and the larger of its two standard errors."""
    pulls = len(by_pull)
    error = float(np.sqrt(pulls * np.var(by_pull)))
    # A log of one visit or one anchor tells nothing of how visits or anchors differ.
    usable = [kind for kind in clusters if len(np.unique(kind)) > 1]
    if usable and error > 0.0:
        total = clustered_line(np.ones((pulls, 1)), by_pull, np.array([float(pulls)]), usable)
        error = max(error, total.error)
    return float(by_pull.sum()), error


def _finding(difference: float, error: float) -> str:
    if abs(difference) < SMALL_DIFFERENCE:
        return "no difference"
    if abs(difference) < CLEAR_ERRORS * error:
        return "unclear"
    return "better" if difference > 0.0 else "worse"

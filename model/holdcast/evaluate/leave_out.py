"""How well pulls would be predicted without themselves, estimated from one fit (PSIS-LOO)."""

import warnings
from dataclasses import dataclass

import numpy as np
import xarray as xr
from arviz_stats import ELPDData, loo
from numpy.typing import NDArray

from holdcast.capacity.pointwise.pulls import pull_draws

__all__ = ["GROUPS", "UNRELIABLE_K", "LeftOut", "groups_of", "leave_out"]

UNRELIABLE_K = 0.7
"""Pareto k above which an estimate is not to be relied on (Vehtari, Simpson, Gelman, Yao & Gabry 2024, *JMLR*
25:72; value from memory)."""
GROUPS = ("pulls", "cells", "visits", "designs", "seabeds")
"""What can be left out together."""


@dataclass(frozen=True)
class LeftOut:
    """Outcome of leaving out one group at a time.

    Attributes
    ----------
    by : what one group is.
    groups : how many there are.
    log_score, log_score_error : joint log predictive probability of a group, summed over groups and divided
        by the number of pulls, and its standard error.
    unreliable : groups whose Pareto k is above `UNRELIABLE_K`: only a refit can tell.
    pareto_k : DataArray, dim ``group``.
    """

    by: str
    groups: int
    log_score: float
    log_score_error: float
    unreliable: int
    pareto_k: xr.DataArray


def groups_of(inputs: xr.Dataset) -> list[str]:
    """Return the kinds of groups of which the pulls have two or more: one left out leaves others to tell."""
    return [by for by in GROUPS if len(np.unique(_labels(inputs, by))) > 1]


def leave_out(posterior: xr.Dataset, inputs: xr.Dataset, by: str = "pulls") -> LeftOut:
    """Estimate by importance sampling how well each group of pulls is predicted by all the others.

    Parameters
    ----------
    posterior : Dataset
        Draws of a fit to all pulls.
    inputs : Dataset
        The pulls.
    by : {"pulls", "cells", "visits", "designs", "seabeds"}
        What is left out together.

    Raises
    ------
    ValueError
        When `by` is unknown or there is but one group.

    Notes
    -----
    Vehtari, Gelman & Gabry 2017, *Statistics and Computing* 27:1413 (value from memory).  Whole groups move
    the posterior so much that Pareto k is often above 0.7: then hide them and refit.
    """
    label = _labels(inputs, by)
    names, place = np.unique(label, return_inverse=True)
    if len(names) < 2:
        raise ValueError(f"all pulls are of one group ({by}), so none is left to tell of it")
    drawn = pull_draws(posterior, inputs).log_likelihood
    total = drawn @ (place[:, None] == np.arange(len(names))).astype(float)
    dims = ("chain", "draw", "group")
    likelihood = xr.Dataset({"log_load": (dims, total)}, {"group": names})
    loo = _loo(xr.DataTree.from_dict({"log_likelihood": likelihood}))
    pareto_k, pulls = loo.pareto_k, len(label)
    return LeftOut(
        by,
        len(names),
        float(loo.elpd) / pulls,
        float(loo.se) / pulls,
        int((pareto_k > UNRELIABLE_K).sum()),
        pareto_k,
    )


def _loo(tree: xr.DataTree) -> ELPDData:
    with warnings.catch_warnings():
        # A high Pareto k is counted and reported, not warned of.
        warnings.filterwarnings("ignore", message="Estimated shape parameter of Pareto")
        return loo(tree, pointwise=True, var_name="log_load", reff=1.0)


def _labels(inputs: xr.Dataset, by: str) -> NDArray[np.int64]:
    anchor_of, seabed_of = inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy()
    labels: dict[str, NDArray[np.int64]] = {
        "pulls": np.arange(inputs.sizes["trial"]),
        "cells": anchor_of * inputs.sizes["seabed"] + seabed_of,
        "visits": inputs["visit_of"].to_numpy(),
        "designs": inputs["design_of"].to_numpy()[anchor_of],
        "seabeds": seabed_of,
    }
    if by not in labels:
        raise ValueError(f"cannot leave out {by!r}; what can be left out: {', '.join(GROUPS)}")
    return labels[by]

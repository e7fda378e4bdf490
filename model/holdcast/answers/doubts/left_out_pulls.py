"""Each pull of the log beside what the rest of the log says of it, and what its cell would be without it.

The pull is left out by smoothed weights (PSIS, see :mod:`holdcast.answers.explain.influence`).  Where these
cannot be trusted, since the fit leans too much on the pull, the numbers are rough and ``trusted`` says so.
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.criticise.predictions import left_out_prediction, written_setting
from holdcast.answers.criticise.residuals import pit_ends
from holdcast.answers.draws.draws import by_sample, draws_of
from holdcast.answers.explain.influence import (
    TRUSTED_K,
    leave_out_weights,
    reference_ends,
    weighted_quantiles,
)
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import ABOVE, DID_NOT_SET, NOT_SAID, SET, UNREAD

__all__ = ["left_out_pulls"]

Numbers = NDArray[np.float64]


def left_out_pulls(fit: Fit) -> xr.Dataset:
    """Return each pull that was used beside what is expected of it without itself.

    Returns
    -------
    Dataset, dim trial
        ``tail`` [1]: chance of a reading as far out as this or further, either way; where the log says
        whether the anchor set, of that too.  ``above``: whether it lies above the middle of what is expected.
        ``expected_low_n``, ``expected_high_n`` [N]: 90% range of such a pull, on the scale on which the log's
        own load was read.  ``sets`` [1]: chance that its anchor sets; ``slid``: whether it is likelier not to
        have set, given its load and what the log says; ``said``: whether the log says something;
        ``contradicted``: whether its load outweighs that word.  ``cell_factor`` [1]: median
        capacity of its cell without it over that with it.  ``trusted``: whether it could be left out.
    """
    weights = leave_out_weights(fit)
    weight = weights["weight"].to_numpy()
    setting = written_setting(fit)
    prediction = left_out_prediction(fit, weight)
    low, high = pit_ends(fit, prediction.knowing(setting).share_below)
    sets = prediction.chance_of_setting()
    branch = np.select([setting == SET, setting == DID_NOT_SET], [sets, 1.0 - sets], 1.0)
    tail = np.minimum(np.minimum(2.0 * np.minimum(high, 1.0 - low), branch), 1.0)
    had_set = fit.tree["constant_data"]["had_set"].to_numpy()
    expected_low, expected_high = _expected(fit, weight)
    columns = {
        "tail": tail,
        "above": low > 1.0 - high,
        "expected_low_n": expected_low,
        "expected_high_n": expected_high,
        "sets": sets,
        "slid": had_set < 0.5,
        "said": setting != NOT_SAID,
        "contradicted": np.select([setting == SET, setting == DID_NOT_SET], [had_set < 0.5, had_set >= 0.5]),
        "cell_factor": _cell_factor(fit, weight),
        "trusted": weights["pareto_k"].to_numpy() <= TRUSTED_K,
    }
    return xr.Dataset(
        {name: ("trial", values) for name, values in columns.items()}, {"trial": fit.inputs["trial"]}
    )


def _expected(fit: Fit, weight: Numbers) -> tuple[Numbers, Numbers]:
    """Return the 90% range of each pull without itself [N], as the log's loads were read."""
    predicted = by_sample(fit.tree["posterior_predictive"].to_dataset()["log_load"]).to_numpy().T
    ends = np.array(
        [weighted_quantiles(*each, (0.05, 0.95)) for each in zip(predicted, weight, strict=True)]
    ).reshape(-1, 2)
    low, high = np.exp(ends + _from_reference(fit)[:, None]).T
    return low, high


def _from_reference(fit: Fit) -> Numbers:
    """Return what takes a log load at reference conditions to the log's own reading, shape (trial,)."""
    kind = fit.inputs["kind"].to_numpy()
    trials = draws_of(fit).table("trials").loc[[str(label) for label in fit.inputs["trial"].to_numpy()]]
    of_held = kind == ABOVE
    low, high = (np.median(end, axis=-1) for end in reference_ends(fit, np.arange(len(kind))))
    column = np.where(of_held, trials["held_n"].to_numpy(), trials["released_n"].to_numpy())
    read = np.where((kind == UNREAD) | ~np.isfinite(column) | (column <= 0.0), np.nan, column)
    shift = np.log(read) - np.where(of_held, low, high)
    return np.asarray(np.nan_to_num(shift), dtype=np.float64)


def _cell_factor(fit: Fit, weight: Numbers) -> Numbers:
    """Return the median capacity of each pull's cell without it over that with it, shape (trial,)."""
    draws, inputs = draws_of(fit), fit.inputs
    cells = draws["log_capacity"][draws.with_likelihood][
        :, inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy()
    ].T
    without = [weighted_quantiles(*each, (0.5,))[0] for each in zip(cells, weight, strict=True)]
    return np.asarray(np.exp(np.array(without) - np.median(cells, axis=1)))

"""A tree against the description of a results folder: the first thing that does not fit is named."""

import numpy as np
import xarray as xr

from holdcast.campaign.columns.known_columns import ANCHORS, RODES, SEABEDS, TRIALS
from holdcast.capacity.results.attributes import attributes_fault
from holdcast.capacity.results.description import (
    DRAWS,
    INPUTS,
    LARGEST_LOG_CAPACITY,
    LEAST_DRAWS,
    MODEL_LABELS,
    ONLY_WITH,
    POSITIONS,
    SAMPLE,
    SMALLEST_LOG_CAPACITY,
    TRUTHS,
    WHOLE,
    WORDS,
)
from holdcast.capacity.results.log_check import check_log, check_trials
from holdcast.capacity.results.variable_check import (
    DescriptionError,
    Group,
    check_labels,
    check_numbers,
    check_range,
    check_truths,
    check_whole,
    need,
)
from holdcast.capacity.results.verdict_file import FIT_AGAIN

__all__ = ["FIT_AGAIN", "DescriptionError", "check_inputs", "check_tree"]

_LOG = {"anchors": ANCHORS, "seabeds": SEABEDS, "trials": TRIALS, "rodes": RODES}
_BY_PULL = ("posterior_predictive", "log_likelihood")
_NEEDED = ("posterior", "prior", "log_prior", "constant_data", "observed_data", "sample_stats", *_BY_PULL)


def check_tree(tree: xr.DataTree, draws: int) -> None:
    """Check all groups of a fit against their description.

    Parameters
    ----------
    tree : DataTree
        As read.
    draws : int
        How many draws the verdict is about.

    Raises
    ------
    DescriptionError
        Naming the first group, variable or attribute that fit would not have written so.
    """
    if fault := attributes_fault(tree.attrs):
        raise DescriptionError(fault)
    for name in (*_NEEDED, "anchors", "seabeds", "trials"):
        if name not in tree.children:
            raise DescriptionError(f"the group {name} is missing")
    groups = {
        name: Group(name, tree[name].to_dataset()) for name in (*_NEEDED, *_LOG) if name in tree.children
    }
    check_inputs(groups["constant_data"])
    for name in ("posterior", "prior"):
        _check_draws(groups[name], groups["constant_data"])
    _check_sample(groups, draws)
    _check_by_pull(groups)
    for name, columns in _LOG.items():
        if name in groups:
            check_log(groups[name], columns, groups["constant_data"])
    check_trials(groups)


def check_inputs(inputs: Group) -> None:
    """Check what the model was told: its labels, numbers, and the places that compiled loops use."""
    for dim in sorted({dim for dims in INPUTS for dim in dims} | {"design", "form", "soil", "visit"}):
        check_labels(inputs, dim)
        if dim in WORDS and not inputs.data.indexes[dim].isin(WORDS[dim]).all():
            raise DescriptionError(f"constant_data: a label of {dim} is no word of that column")
    for dims, names in INPUTS.items():
        for name in names.split():
            variable = need(inputs, name, dims)
            if name in TRUTHS:
                check_truths(inputs, variable)
            elif name in POSITIONS:
                check_whole(inputs, variable, 0, inputs.sizes[POSITIONS[name]] - 1)
            elif name in WHOLE:
                check_whole(inputs, variable, *WHOLE[name])
            else:
                check_numbers(inputs, variable)
    data = inputs.data
    if (data["spot_first"] + data["spot_pulls"] > inputs.sizes["trial"]).any():
        raise DescriptionError("constant_data: spot_pulls reach beyond the last pull")
    if (data["successes"] > data["attempts"]).any():
        raise DescriptionError("constant_data: a reset has more successes than attempts")


def _check_draws(group: Group, inputs: Group) -> None:
    """Check draws: every variable of the model there, over the labels of the inputs, finite."""
    for dims, names in DRAWS.items():
        for name in names.split():
            given_by = next((dim for start, dim in ONLY_WITH.items() if name.startswith(start)), None)
            if given_by is None or inputs.sizes[given_by] > 0:
                need(group, name, (*SAMPLE, *dims))
    for name in map(str, group.data.data_vars):
        check_numbers(group, group.data[name])
        if name.endswith(("_spread", "_scatter", "_share")) and not name.startswith("log_"):
            check_range(group, group.data[name], 0.0, np.inf)
    _same_labels(group, inputs)
    for dim, labels in MODEL_LABELS.items():
        if tuple(group.data.indexes[dim]) != labels:
            raise DescriptionError(f"{group.name}: the labels of {dim} are not {', '.join(labels)}")
    check_range(group, group.data["log_capacity"], SMALLEST_LOG_CAPACITY, LARGEST_LOG_CAPACITY)
    if group.sizes["chain"] * group.sizes["draw"] < LEAST_DRAWS:
        raise DescriptionError(f"{group.name} has fewer than {LEAST_DRAWS} draws")
    spread = np.ptp(group.data["log_capacity"].to_numpy(), axis=(0, 1))
    if not (spread > 0.0).all():
        raise DescriptionError(f"{group.name}: all draws of log_capacity of one cell are the same")


def _same_labels(group: Group, inputs: Group) -> None:
    """Check that every dim of the inputs has the same labels in a group."""
    for dim, index in group.data.indexes.items():
        if dim in inputs.data.indexes and not index.equals(inputs.data.indexes[dim]):
            raise DescriptionError(f"{group.name} and constant_data disagree on the labels of {dim}")


def _check_sample(groups: dict[str, Group], draws: int) -> None:
    """Check what has one value a draw, and that the verdict is about as many draws as there are."""
    posterior, stats = groups["posterior"], groups["sample_stats"]
    check_truths(stats, need(stats, "diverging", SAMPLE))
    check_numbers(stats, need(stats, "energy", SAMPLE))
    for name in map(str, groups["log_prior"].data.data_vars):
        check_numbers(groups["log_prior"], need(groups["log_prior"], name, SAMPLE))
    for group in (stats, groups["log_prior"]):
        if any(group.sizes.get(dim) != posterior.sizes[dim] for dim in SAMPLE):
            raise DescriptionError(f"{group.name} and posterior have different numbers of draws")
    there = posterior.sizes["chain"] * posterior.sizes["draw"]
    if there != draws:
        raise DescriptionError(f"the verdict is about {draws:,} draws; the posterior has {there:,}")


def _check_by_pull(groups: dict[str, Group]) -> None:
    """Check the groups with a value for each pull: their draws and pulls are those of the fit."""
    inputs, posterior = groups["constant_data"], groups["posterior"]
    for name in _BY_PULL:
        group = groups[name]
        check_numbers(group, need(group, "log_load", (*SAMPLE, "trial")))
        _same_labels(group, inputs)
        for dim in SAMPLE:
            if not group.data.indexes[dim].isin(posterior.data.indexes[dim]).all() or not group.sizes[dim]:
                raise DescriptionError(f"{name} has draws that the posterior lacks")
    observed = groups["observed_data"]
    need(observed, "log_load", ("trial",))
    check_range(inputs, need(inputs, "had_set", ("trial",)), 0.0, 1.0)
    _same_labels(observed, inputs)

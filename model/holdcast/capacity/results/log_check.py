"""The tester's own tables inside a fit, against the columns that campaign files have."""

from collections.abc import Mapping

import numpy as np
import xarray as xr

from holdcast.campaign.columns.known_columns import TESTS, Column, FileColumns
from holdcast.campaign.files.limits import MOST_COLUMNS, MOST_TEXT_CHARACTERS
from holdcast.capacity.results.variable_check import (
    DescriptionError,
    Group,
    check_labels,
    check_truths,
    is_text,
    need,
)

__all__ = ["check_log", "check_trials"]

_NOT_STORED = {"tip_fraction"}
"""Becomes a tip load when it is read."""
_MAY_BE_INFINITE = {"released_n"}
"""Of a pull that was not seen to let go."""
_STATUS = ("used", "excluded")


def check_log(group: Group, spec: FileColumns, inputs: Group) -> None:
    """Check one table: every known column there and of its kind, the label that of the inputs.

    Raises
    ------
    DescriptionError
    """
    check_labels(group, spec.label)
    if len(group.data.data_vars) > MOST_COLUMNS:
        raise DescriptionError(f"{group.name} has over {MOST_COLUMNS} columns")
    if spec.label in ("anchor", "seabed") and not group.data.indexes[spec.label].equals(
        inputs.data.indexes[spec.label]
    ):
        raise DescriptionError(f"{group.name} and constant_data disagree on the labels of {spec.label}")
    counted = _used(group)
    for column in spec.columns[1:]:
        if column.stored_name not in _NOT_STORED:
            variable = need(group, column.stored_name, (spec.label,))
            _check_column(group, variable, column, counted)
    for name in map(str, group.data.data_vars):
        variable = need(group, name, (spec.label,))
        if spec.has_flags and name.startswith("flag_"):
            check_truths(group, variable)
        elif variable.dtype.kind not in "fiub" and not is_text(variable):
            raise DescriptionError(f"{group.name}: {name} holds neither texts nor numbers")
        if variable.dtype.kind in "OUT" and any(len(text) > MOST_TEXT_CHARACTERS for text in variable.values):
            raise DescriptionError(
                f"{group.name}: {name} has a text over {MOST_TEXT_CHARACTERS:,} characters"
            )


def _used(group: Group) -> xr.DataArray:
    """Return which rows count; what an excluded row says is free."""
    if group.name != "trials":
        label = str(next(iter(group.data.indexes)))
        return xr.DataArray(np.ones(group.sizes[label], dtype=bool), dims=label)
    status = need(group, "status", ("trial",))
    if not is_text(status) or not status.isin(_STATUS).all():
        raise DescriptionError(f"trials: status must be {' or '.join(_STATUS)}")
    return status == "used"


def _check_column(group: Group, variable: xr.DataArray, column: Column, counted: xr.DataArray) -> None:
    """Check the kind of a known column, and its range or words where rows count."""
    if column.kind in ("number", "whole"):
        if variable.dtype.kind not in "fiu":
            raise DescriptionError(f"{group.name}: {variable.name} holds no numbers")
        values = variable.to_numpy()[counted.to_numpy()]
        if _outside(values, column):
            raise DescriptionError(f"{group.name}: {variable.name} has a value out of range")
    elif not is_text(variable):
        raise DescriptionError(f"{group.name}: {variable.name} holds no texts")
    elif column.words and not np.isin(variable.to_numpy()[counted.to_numpy()], ("", *column.words)).all():
        raise DescriptionError(f"{group.name}: {variable.name} has an unknown word")


def _outside(values: np.ndarray, column: Column) -> bool:
    """Whether a value is out of the column's range; a value that is missing is not, where it may be."""
    if np.isnan(values).any() and column.needed:
        return True
    if not column.needed:
        values = values[~np.isnan(values)]
    if column.stored_name in _MAY_BE_INFINITE:
        values = values[values != np.inf]
    return bool(
        (~np.isfinite(values)).any()
        or (column.above is not None and (values <= column.above).any())
        or (column.least is not None and (values < column.least * (1 - 1e-9)).any())
        or (column.most is not None and (values > column.most * (1 + 1e-9)).any())
    )


def check_trials(groups: Mapping[str, Group]) -> None:
    """Check that rows that count name anchors, seabeds and tests that there are, and are those of the fit.

    Raises
    ------
    DescriptionError
    """
    trials, inputs = groups["trials"].data, groups["constant_data"].data
    used = trials.isel(trial=np.flatnonzero((trials["status"] == "used").to_numpy()))
    for kind in ("anchor", "seabed"):
        if not used[kind].isin(inputs[kind]).all():
            raise DescriptionError(f"trials: a row that counts names an unknown {kind}")
    for test, dim in zip(TESTS, ("trial", "reset", "veer"), strict=True):
        logged = used["trial"].to_numpy()[used["test"].to_numpy() == test]
        if not np.isin(inputs[dim].to_numpy(), logged).all():
            raise DescriptionError(f"constant_data has a {test} that the trials lack")

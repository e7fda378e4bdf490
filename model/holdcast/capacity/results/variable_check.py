"""One variable against what is said of it: dims, kind, finite values, range, labels."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import xarray as xr

__all__ = [
    "DescriptionError",
    "Group",
    "check_labels",
    "check_numbers",
    "check_range",
    "check_truths",
    "check_whole",
    "is_text",
    "need",
]

_LONGEST_LABEL = 1000
"""Characters; a spot's label is made of an anchor's, a seabed's and a visit's."""
_COUNTED = ("chain", "draw", "component")
"""Dims whose labels are whole numbers; all others have texts."""


class DescriptionError(Exception):
    """Something in a results folder that fit would not have written so; the message is a phrase."""


@dataclass(frozen=True)
class Group:
    """A group of a tree and its name, and the dims whose labels were looked at: once for all variables."""

    name: str
    data: xr.Dataset
    labels_checked: set[str] = field(default_factory=set)

    @property
    def sizes(self) -> Mapping[str, int]:
        """Length of each dim."""
        return {str(dim): size for dim, size in self.data.sizes.items()}


def need(group: Group, name: str, dims: tuple[str, ...]) -> xr.DataArray:
    """Return a variable that must be there over some dims, all of which have labels."""
    if name not in group.data.data_vars:
        raise DescriptionError(f"{group.name} lacks {name}")
    variable = group.data[name]
    if variable.dims != dims:
        over = ", ".join(map(str, variable.dims)) or "nothing"
        raise DescriptionError(f"{group.name}: {name} is over {over}; it must be over {', '.join(dims)}")
    for dim in dims:
        check_labels(group, dim)
    return variable


def check_labels(group: Group, dim: str) -> None:
    """Check that a dim is there and has labels, each once; texts but for counted dims."""
    if dim in group.labels_checked:
        return
    if dim not in group.data.indexes:
        raise DescriptionError(f"{group.name} lacks the labels of {dim}")
    index = group.data.indexes[dim]
    if isinstance(index, pd.MultiIndex) or not index.is_unique:
        raise DescriptionError(f"{group.name}: a label of {dim} stands there twice")
    if dim in _COUNTED:
        if not pd.api.types.is_integer_dtype(index):
            raise DescriptionError(f"{group.name}: the labels of {dim} are no whole numbers")
    elif not all(isinstance(label, str) and 0 < len(label) <= _LONGEST_LABEL for label in index):
        raise DescriptionError(f"{group.name}: a label of {dim} is blank, too long or no text")
    group.labels_checked.add(dim)


def check_numbers(group: Group, variable: xr.DataArray) -> None:
    """Check that all values are finite numbers."""
    values = variable.to_numpy()
    if values.dtype.kind not in "fiu":
        raise DescriptionError(f"{group.name}: {variable.name} holds no numbers")
    if not np.isfinite(values).all():
        raise DescriptionError(f"{group.name}: {variable.name} has a value that is not a finite number")


def check_range(group: Group, variable: xr.DataArray, least: float, most: float) -> None:
    """Check that all values are finite numbers within a range, its ends included."""
    check_numbers(group, variable)
    if ((variable < least) | (variable > most)).any():
        allowed = f"from {least:g} to {most:g}" if np.isfinite(most) else f"{least:g} or more"
        raise DescriptionError(f"{group.name}: {variable.name} has a value out of range; allowed: {allowed}")


def check_whole(group: Group, variable: xr.DataArray, least: int, most: int | None) -> None:
    """Check that all values are whole numbers within a range, its ends included."""
    if variable.dtype.kind not in "iu":
        raise DescriptionError(f"{group.name}: {variable.name} holds no whole numbers")
    if variable.size and (int(variable.min()) < least or (most is not None and int(variable.max()) > most)):
        allowed = f"{least} or more" if most is None else f"from {least} to {most}"
        raise DescriptionError(f"{group.name}: {variable.name} has a value out of range; allowed: {allowed}")


def check_truths(group: Group, variable: xr.DataArray) -> None:
    """Check that all values are true or false."""
    if variable.dtype.kind != "b":
        raise DescriptionError(f"{group.name}: {variable.name} holds something other than true and false")


def is_text(variable: xr.DataArray) -> bool:
    """Whether all values are texts."""
    if variable.dtype.kind in "UT":
        return True
    return variable.dtype.kind == "O" and all(isinstance(value, str) for value in variable.to_numpy().ravel())

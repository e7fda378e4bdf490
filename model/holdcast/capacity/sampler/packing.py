"""All data of a model in two arrays, so that compiled code reads them from one place."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pymc as pm
from numpy.typing import NDArray
from pytensor.compile.sharedvalue import SharedVariable

from holdcast.capacity.symbols import Tensor

__all__ = ["PackedData", "pack", "packed_slices"]


@dataclass(frozen=True, eq=False)
class PackedData:
    """A model's data, laid end to end in the order in which the model has them.

    Attributes
    ----------
    numbers : measurements; the sampler adds the moments of its plain priors at the end.
    positions : positions of labels.
    """

    numbers: NDArray[np.float64]
    positions: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    def with_more_numbers(self, *more: NDArray[np.float64]) -> "PackedData":
        """Return the same with further numbers at the end."""
        return PackedData(np.concatenate([self.numbers, *more]), self.positions)


def pack(model: pm.Model, values: Mapping[Any, Any]) -> PackedData:
    """Return values of all data of a model as two arrays.

    Parameters
    ----------
    model : pymc.Model
        Tells names, order and shapes.
    values : Dataset or mapping of str to array
        A value for every datum of the model; more names do no harm.

    Raises
    ------
    ValueError
        When a datum is missing, or of another shape or kind than the model's.
    """
    found: dict[str, list[NDArray[Any]]] = {"f": [], "i": []}
    for variable in model.data_vars:
        found[variable.get_value().dtype.kind].append(_new_value(variable, values).ravel())
    numbers = np.concatenate([np.zeros(0), *found["f"]])
    return PackedData(numbers, np.concatenate([np.zeros(0, dtype=np.int64), *found["i"]]))


def _new_value(variable: SharedVariable, values: Mapping[Any, Any]) -> NDArray[Any]:
    old = variable.get_value()
    if variable.name not in values:
        raise ValueError(f"the new data lack {variable.name!r}")
    new = np.asarray(values[variable.name])
    if new.shape != old.shape:
        raise ValueError(f"{variable.name} has shape {new.shape}; the compiled model needs {old.shape}")
    if new.dtype.kind != old.dtype.kind:
        raise ValueError(f"{variable.name} is of kind {new.dtype}; the compiled model needs {old.dtype}")
    return new


def packed_slices(model: pm.Model, numbers: Tensor, positions: Tensor) -> dict[SharedVariable, Tensor]:
    """Return each datum of a model as the slice of the packed array that holds it."""
    buffers, start = {"f": numbers, "i": positions}, {"f": 0, "i": 0}
    slices = {}
    for variable in model.data_vars:
        value = variable.get_value()
        kind, first = value.dtype.kind, start[value.dtype.kind]
        piece = buffers[kind][first : first + value.size].reshape(value.shape)
        slices[variable] = piece.astype(variable.dtype)
        start[kind] = first + value.size
    return slices

"""All that compiled code reads, in a few plain arrays: how long everything is, and where it stands, are data.

So the code of a model is the same for every campaign: one more pull, anchor or seabed changes the arrays and
compiles nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import prod
from typing import Any

import numpy as np
import pymc as pm
from numpy.typing import NDArray
from pytensor.graph.basic import Variable

__all__ = ["Extents", "PackedData", "Piece", "extents_of", "pack"]

Length = int | str
"""A length that the code of the model fixes, or the name of one that the campaign does."""


@dataclass(frozen=True)
class Piece:
    """Where one array lies in the packed ones.

    Attributes
    ----------
    buffer : ``point``, ``numbers`` or ``positions``; blank for a length itself.
    shape : its lengths, or the name of that length.
    """

    buffer: str
    shape: tuple[Length, ...]


@dataclass(frozen=True, eq=False)
class PackedData:
    """A model's data, laid end to end in the order in which the model has them.

    Attributes
    ----------
    numbers : measurements, after them the moments of the model's plain priors.
    positions : all lengths that a campaign fixes, after them the positions of labels.
    """

    numbers: NDArray[np.float64]
    positions: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


@dataclass(frozen=True)
class Extents:
    """How long the arrays of a model are.

    Attributes
    ----------
    lengths : name of each length that a campaign fixes, to what it is here; a named dim, or an array's own.
    shapes : name of an array to its shape, in lengths.
    """

    lengths: Mapping[str, int]
    shapes: Mapping[str, tuple[Length, ...]]

    def size(self, name: str) -> int:
        """Return how many numbers an array has here."""
        return prod(self.shape(name))

    def shape(self, name: str) -> tuple[int, ...]:
        """Return the shape that an array has here."""
        return tuple(self.lengths[each] if isinstance(each, str) else each for each in self.shapes[name])


def extents_of(model: pm.Model, values: Mapping[str, Variable], initial: Mapping[str, Any]) -> Extents:
    """Return how long everything in a model is.

    Parameters
    ----------
    model : pymc.Model
        Its named dims are the lengths that arrays share.
    values : mapping of str to variable
        Name of a free variable to its value variable, which the sampler sees.
    initial : mapping of str to array
        Name of a value variable to an array of its shape.
    """
    lengths = {name: int(length.get_value()) for name, length in model.dim_lengths.items()}
    shapes: dict[str, tuple[Length, ...]] = {}
    arrays = [(value, name, np.shape(initial[value.name])) for name, value in values.items()]
    arrays += [(each, each.name, each.get_value(borrow=True).shape) for each in model.data_vars]
    for variable, named_for, shape in arrays:
        dims = model.named_vars_to_dims.get(named_for) or (None,) * len(shape)
        own = [f"{variable.name}/{axis}" for axis in range(len(shape))]
        names: list[Length] = []
        for axis, (length, fixed) in enumerate(zip(shape, variable.type.shape, strict=True)):
            dim = dims[axis] if axis < len(dims) else None
            if fixed is not None:
                names.append(int(fixed))
            elif dim is not None and lengths[dim] == length:
                names.append(str(dim))
            else:
                lengths[own[axis]] = length
                names.append(own[axis])
        shapes[str(variable.name)] = tuple(names)
    return Extents(lengths, shapes)


def pack(
    model: pm.Model, extents: Extents, values: Mapping[Any, Any], moments: Sequence[NDArray[np.float64]] = ()
) -> PackedData:
    """Return values of all data of a model, and all lengths, as two arrays.

    Parameters
    ----------
    model : pymc.Model
        Tells names and order.
    extents : Extents
        Of that model.
    values : Dataset or mapping of str to array
        A value for every datum of the model; more names do no harm.
    moments : sequence of arrays
        Further numbers, for the end.

    Raises
    ------
    ValueError
        When a datum is missing, or of another shape or kind than the model's.
    """
    packed: dict[str, list[NDArray[Any]]] = {"f": [np.zeros(0)], "i": [np.array([*extents.lengths.values()])]}
    for variable in model.data_vars:
        new = _new_value(str(variable.name), variable.type.dtype, extents, values)
        packed[new.dtype.kind].append(new.ravel())
    numbers = np.concatenate([*packed["f"], *moments])
    return PackedData(numbers, np.concatenate(packed["i"]).astype(np.int64))


def _new_value(name: str, kind: str, extents: Extents, values: Mapping[Any, Any]) -> NDArray[Any]:
    if name not in values:
        raise ValueError(f"the new data lack {name!r}")
    new, shape = np.asarray(values[name]), extents.shape(name)
    if new.shape != shape:
        raise ValueError(f"{name} has shape {new.shape}; the compiled model needs {shape}")
    if new.dtype.kind != np.dtype(kind).kind:
        raise ValueError(f"{name} is of kind {new.dtype}; the compiled model needs {kind}")
    return new

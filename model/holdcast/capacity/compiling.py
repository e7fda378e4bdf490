"""From a model to the sampler's compiled functions."""

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pymc as pm
import pytensor
from numpy.typing import NDArray

__all__ = ["CompiledModel", "compile_model", "with_data_of"]

_PACKS = {"numbers": "f", "positions": "i"}
"""Name of a packed array to the kind of the data in it."""


@dataclass(frozen=True)
class CompiledModel:
    """A model that the sampler can run.

    Attributes
    ----------
    sampler_model : the sampler's own compiled object.
    seconds : how long compiling took.
    layout : name of each dim and each piece of data to its length or shape.
    """

    sampler_model: Any
    seconds: float
    layout: Mapping[str, tuple[int, ...]]


def compile_model(model: pm.Model) -> CompiledModel:
    """Compile a model for the sampler.

    Two settings matter.  All data go into two arrays, since the sampler's wrappers cost about half a second
    of compiling for each array they unpack.  And arithmetic is not reordered for speed ("fast math"), so a
    warm and an empty compile cache give the same digits.
    """
    import nutpie

    start = time.perf_counter()
    with pytensor.config.change_flags(numba__fastmath=False):
        compiled = nutpie.compile_pymc_model(_with_packed_data(model))
    return CompiledModel(compiled, time.perf_counter() - start, _layout(model))


def with_data_of(compiled: CompiledModel, model: pm.Model) -> CompiledModel:
    """Return a compiled model that sees the data of another model of the same layout, without compiling.

    Parameters
    ----------
    compiled : CompiledModel
        Is not changed.
    model : Model
        Of the same priors (they are compiled in, and not checked), with as many of everything: new readings
        of the same pulls, say.

    Raises
    ------
    ValueError
        When a dim or a piece of data differs in size: the compiled code would read other memory, silently.
    """
    ours = _layout(model)
    differing = sorted(name for name in compiled.layout | ours if compiled.layout.get(name) != ours.get(name))
    if differing:
        raise ValueError(f"the model differs from the compiled one in the size of: {', '.join(differing)}")
    packed = {name: _pack(_data_of_kind(model, kind)) for name, kind in _PACKS.items()}
    return replace(compiled, sampler_model=compiled.sampler_model.with_data(**packed), seconds=0.0)


def _layout(model: pm.Model) -> dict[str, tuple[int, ...]]:
    lengths = {f"dim {dim}": (len(labels),) for dim, labels in model.coords.items()}
    return lengths | {str(data.name): data.get_value().shape for data in model.data_vars}


def _data_of_kind(model: pm.Model, kind: str) -> list[Any]:
    return [variable for variable in model.data_vars if variable.get_value().dtype.kind == kind]


def _pack(data: list[Any]) -> NDArray[Any]:
    return np.concatenate([variable.get_value().ravel() for variable in data])


def _with_packed_data(model: pm.Model) -> pm.Model:
    """Return the model with its data as slices of one array of numbers and one of positions."""
    replacements = {}
    for name, kind in _PACKS.items():
        data = _data_of_kind(model, kind)
        buffer, start = pytensor.shared(_pack(data), name=name), 0
        for variable in data:
            value = variable.get_value()
            replacements[variable.name] = buffer[start : start + value.size].reshape(value.shape)
            start += value.size
    return pm.do(model, replacements)

"""From a model to the sampler's compiled functions."""

import time
from dataclasses import dataclass
from typing import Any

import numpy as np
import pymc as pm
import pytensor

__all__ = ["CompiledModel", "compile_model"]


@dataclass(frozen=True)
class CompiledModel:
    """A model that the sampler can run.

    Attributes
    ----------
    sampler_model : the sampler's own compiled object.
    seconds : how long compiling took.
    """

    sampler_model: Any
    seconds: float


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
    return CompiledModel(compiled, time.perf_counter() - start)


def _with_packed_data(model: pm.Model) -> pm.Model:
    """Return the model with its data as slices of one array of numbers and one of positions."""
    replacements = {}
    for name, kind in (("numbers", "f"), ("positions", "i")):
        data = [variable for variable in model.data_vars if variable.get_value().dtype.kind == kind]
        packed = np.concatenate([variable.get_value().ravel() for variable in data])
        buffer, start = pytensor.shared(packed, name=name), 0
        for variable in data:
            value = variable.get_value()
            replacements[variable.name] = buffer[start : start + value.size].reshape(value.shape)
            start += value.size
    return pm.do(model, replacements)

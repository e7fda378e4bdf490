"""From a model to the sampler's compiled functions."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pymc as pm
import pytensor
import pytensor.tensor as pt
from numpy.typing import NDArray

from holdcast.capacity.sampler.code_key import code_key
from holdcast.capacity.sampler.density import Layout, compile_density, lay_out_point
from holdcast.capacity.sampler.derived import Derivation
from holdcast.capacity.sampler.filed import file_density, filed_density
from holdcast.capacity.sampler.native import address_of, density_entry, identity_entry
from holdcast.capacity.sampler.packing import PackedData
from holdcast.capacity.symbols import Compiled

__all__ = ["POINT", "CompiledModel", "compile_model"]

POINT = "unconstrained_point"
"""Name of the sampler's only variable: everything else follows from it."""


@dataclass(frozen=True, eq=False)
class CompiledModel:
    """A model that the sampler can run.

    Attributes
    ----------
    sampler_model : the sampler's own compiled object.
    density : function of (point, numbers, positions): log density but for a constant, and its gradient.
    derivation : computes the model's variables from the sampler's points.
    data : what the sampler reads.
    seconds : how long compiling took.
    """

    sampler_model: Compiled
    density: Compiled
    derivation: Derivation
    data: PackedData
    seconds: float

    def with_data(self, values: Mapping[Any, Any]) -> "CompiledModel":
        """Return the same compiled code reading other data of the same shapes.

        Parameters
        ----------
        values : Dataset or mapping of str to array
            New values of every datum of the model.

        Raises
        ------
        ValueError
            When a datum is missing or of another shape or kind.
        """
        data = self.derivation.layout.packed(values)
        changed = self.sampler_model.with_data(numbers=data.numbers, positions=data.positions)
        return replace(self, sampler_model=changed, data=data, seconds=0.0)


def compile_model(model: pm.Model, *, own_source: bool = False) -> CompiledModel:
    """Compile a model for the sampler, or take its code from the cache.

    Arithmetic is not reordered for speed ("fast math"), so a warm and an empty compile cache give the same
    digits.

    Parameters
    ----------
    model : pymc.Model
        Of continuous variables.
    own_source : bool
        True for a model all of whose own functions are this program's: its finished code is then looked up
        before its graph is built (:mod:`holdcast.capacity.sampler.code_key`).
    """
    start = time.perf_counter()
    layout = lay_out_point(model)
    key = code_key(layout) if own_source else None
    density = (filed_density(key, layout) if key else None) or _compiled_density(layout)
    if key:
        file_density(key, density)
    sampler_model = _sampler_model(layout, density)
    return CompiledModel(sampler_model, density, Derivation(layout), layout.data, time.perf_counter() - start)


def _compiled_density(layout: Layout) -> Compiled:
    with pytensor.config.change_flags(numba__fastmath=False):
        density = compile_density(layout).vm.jit_fn
    density(layout.start, layout.data.numbers, layout.data.positions)  # compiles it
    return density


def _sampler_model(layout: Layout, density: Compiled) -> Compiled:
    from nutpie.compile_pymc import CompiledPyMCModel, make_user_data

    size, data = layout.start.size, layout.data
    arrays = {
        "numbers": data.numbers,
        "positions": data.positions,
        "density": np.array([address_of(density)], dtype=np.uintp),
    }
    keys = {pt.vector(name, dtype=str(array.dtype)): name for name, array in arrays.items()}
    return CompiledPyMCModel(
        compiled_logp_func=density_entry(),
        compiled_expand_func=identity_entry(),
        initial_point_func=_start_near(layout.start),
        shared_data=arrays,
        shared_var_keys=keys,
        user_data=make_user_data(keys, arrays),
        n_expanded=size,
        shape_info=([POINT], [slice(0, size)], [(size,)]),
        logp_func=None,
        expand_func=None,
        dims={},
        reparameterized_names=[],
        _n_dim=size,
        _shapes={POINT: (size,)},
        _coords={},
    )


def _start_near(start: NDArray[np.float64]) -> Callable[[int], NDArray[np.float64]]:
    """Return a function from seed to a first point, moved by up to 1 either way in each direction."""

    def first_point(seed: int) -> NDArray[np.float64]:
        return start + np.random.default_rng(seed).uniform(-1.0, 1.0, start.size)

    return first_point

"""The log posterior density and its gradient as one function of plain arrays.

How the graph is written decides how long compiling takes.  Two things keep it small: data enter as slices of
two arrays of fixed length, and all normal and log-normal priors with constant parameters, which is most of
them, are one quadratic form of the unconstrained point in place of a term each.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import prod
from typing import Any

import numpy as np
import pymc as pm
import pytensor
import pytensor.tensor as pt
from numpy.typing import NDArray
from pymc.initial_point import make_initial_point_expression
from pymc.pytensorf import compile as compile_function
from pytensor.graph.basic import Variable
from pytensor.graph.replace import clone_replace
from pytensor.graph.rewriting.utils import rewrite_graph
from pytensor.graph.traversal import ancestors
from pytensor.tensor.random.basic import LogNormalRV, NormalRV

from holdcast.capacity.sampler.packing import PackedData, pack, packed_slices
from holdcast.capacity.symbols import AS_IT_STANDS, Compiled, Tensor

__all__ = ["Layout", "compile_density", "lay_out_point"]


@dataclass(frozen=True, eq=False)
class Layout:
    """Where everything is in the arrays that compiled code reads.

    Attributes
    ----------
    model : the model as built.
    plain, other : variables with a constant normal or log-normal prior, and the rest; the point has them in
        this order.
    shapes : value variable's name to its shape, in the order of the point.
    start : the model's initial point, flat.
    moments : means, then standard deviations, of all numbers of the plain variables.
    data : the model's data and after them the moments.
    """

    model: pm.Model
    plain: tuple[Variable, ...]
    other: tuple[Variable, ...]
    shapes: Mapping[str, tuple[int, ...]]
    start: NDArray[np.float64]
    moments: NDArray[np.float64]
    data: PackedData

    def inputs(self) -> tuple[Tensor, Tensor, Tensor]:
        """Return fresh symbols for the point, the numbers and the positions."""
        arrays = {"point": self.start, "numbers": self.data.numbers, "positions": self.data.positions}
        point, numbers, positions = (
            pt.tensor(name, dtype=str(array.dtype), shape=array.shape) for name, array in arrays.items()
        )
        return point, numbers, positions

    def packed(self, values: Mapping[Any, Any]) -> PackedData:
        """Return other data of the same shapes, as compiled code reads them.

        Raises
        ------
        ValueError
            When a datum is missing or of another shape or kind.
        """
        return pack(self.model, values).with_more_numbers(self.moments)

    def values(self, point: Tensor) -> dict[Variable, Tensor]:
        """Return each value variable of the model as a slice of the point."""
        start, slices = 0, {}
        for variable in (*self.plain, *self.other):
            value = self.model.rvs_to_values[variable]
            shape = self.shapes[value.name]
            slices[value] = point[start : start + prod(shape)].reshape(shape)
            start += prod(shape)
        return slices


def lay_out_point(model: pm.Model) -> Layout:
    """Return the layout of a model of continuous variables."""
    initial = _initial_point(model)
    values = model.rvs_to_values
    parameters = {v: found for v in model.free_RVs if (found := _constant_parameters(v))}
    constants = {
        variable: [np.broadcast_to(each, np.shape(initial[values[variable].name])) for each in found]
        for variable, found in zip(parameters, _evaluated(list(parameters.values())), strict=True)
    }
    other = tuple(variable for variable in model.free_RVs if variable not in constants)
    names = [values[variable].name for variable in (*constants, *other)]
    moments = np.concatenate(
        [np.zeros(0), *(found[k].ravel() for k in (0, 1) for found in constants.values())]
    )
    data = pack(model, {variable.name: variable.get_value() for variable in model.data_vars})
    return Layout(
        model=model,
        plain=tuple(constants),
        other=other,
        shapes={name: np.shape(initial[name]) for name in names},
        start=np.concatenate([np.zeros(0), *(np.ravel(initial[name]) for name in names)]),
        moments=moments,
        data=data.with_more_numbers(moments),
    )


def _constant_parameters(variable: Variable) -> list[Variable] | None:
    """Return mean and standard deviation of a variable's unconstrained value, or None if they may move."""
    operation = variable.owner.op
    if not isinstance(operation, NormalRV | LogNormalRV):
        return None
    parameters = operation.dist_params(variable.owner)
    return list(parameters) if all(map(_is_constant, parameters)) else None


def _initial_point(model: pm.Model) -> dict[str, NDArray[np.float64]]:
    """Return the library's initial point by value variable.

    Evaluated as it stands, in a fifth of the time that the library's own function of it takes to compile.
    """
    expressions = make_initial_point_expression(
        free_rvs=model.free_RVs,
        rvs_to_transforms=model.rvs_to_transforms,
        initval_strategies=model.rvs_to_initial_values,
        return_transformed=True,
    )
    names = [model.rvs_to_values[variable].name for variable in model.free_RVs]
    return dict(zip(names, pytensor.function([], expressions, mode=AS_IT_STANDS)(), strict=True))


def _evaluated(pairs: list[list[Variable]]) -> list[list[NDArray[np.float64]]]:
    flat = [parameter for pair in pairs for parameter in pair]
    values = iter(pytensor.function([], flat, mode=AS_IT_STANDS)())
    return [[next(values) for _ in pair] for pair in pairs]


def _is_constant(parameter: Variable) -> bool:
    roots = [node for node in ancestors([parameter]) if node.owner is None]
    return all(hasattr(root, "data") for root in roots)


def compile_density(layout: Layout) -> Compiled:
    """Return the library's compiled function (point, numbers, positions) -> (log density, gradient).

    The log density is that of the model up to a constant.
    """
    point, numbers, positions = inputs = layout.inputs()
    model = layout.model
    rest = rewrite_graph(
        model.logp(vars=[*layout.other, *model.observed_RVs, *model.potentials]),
        include=("canonicalize", "stabilize"),
    )
    values = layout.values(point)
    # Slopes are taken by fixed-shape stand-ins for the slices: by the whole point they would be added up in
    # long chains, and by symbols of unknown shape every broadcast would be checked at run time.
    stand_ins = {value: piece.type() for value, piece in values.items()}
    rest = clone_replace(
        rest, {**packed_slices(model, numbers, positions), **stand_ins}, rebuild_strict=False
    )
    slopes = pt.grad(rest, list(stand_ins.values()), disconnected_inputs="ignore")
    slices = {stand_ins[value]: piece for value, piece in values.items()}
    rest, *slopes = clone_replace([rest, *(slope.ravel() for slope in slopes)], slices, rebuild_strict=False)
    plain = len(layout.plain)
    standard, slope = _standard(layout, point, numbers)
    density = rest - 0.5 * (standard**2).sum()
    gradient = pt.concatenate([pt.concatenate(slopes[:plain]) - slope, *slopes[plain:]])
    return compile_function(
        list(inputs), [density, gradient], mode="NUMBA", on_unused_input="ignore", trust_input=True
    )


def _standard(layout: Layout, point: Tensor, numbers: Tensor) -> tuple[Tensor, Tensor]:
    """Return (x - mean) / sd of the plain part of the point, and that over sd once more."""
    size, half = layout.data.numbers.size, layout.moments.size // 2
    mean, sd = numbers[size - 2 * half : size - half], numbers[size - half :]
    standard = (point[:half] - mean) / sd
    return standard, standard / sd

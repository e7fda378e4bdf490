"""The log posterior density and its gradient as one function of plain arrays.

How the graph is written decides how long compiling takes.  Two things keep it small: one operation takes all
arrays out of the packed ones (:mod:`.pieces`), and all normal and log-normal priors with constant parameters,
which is most of them, are one quadratic form of the unconstrained point in place of a term each.
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

from holdcast.capacity.plain_evaluation import AS_IT_STANDS
from holdcast.capacity.sampler.packing import Extents, PackedData, Piece, extents_of, pack
from holdcast.capacity.sampler.pieces import Join, Unpack
from holdcast.capacity.symbols import Compiled, Tensor

__all__ = ["Layout", "compile_density", "lay_out_point"]


@dataclass(frozen=True, eq=False)
class Layout:
    """Where everything is in the arrays that compiled code reads.

    Attributes
    ----------
    model : the model as built.
    plain, other : variables with a constant normal or log-normal prior, and the rest; the point has them in
        this order.
    extents : how long everything is.
    shapes : value variable's name to its shape, in the order of the point.
    start : the model's initial point, flat.
    moments : means, then standard deviations, of all numbers of the plain variables.
    data : the model's lengths and data and after them the moments.
    """

    model: pm.Model
    plain: tuple[Variable, ...]
    other: tuple[Variable, ...]
    extents: Extents
    shapes: Mapping[str, tuple[int, ...]]
    start: NDArray[np.float64]
    moments: NDArray[np.float64]
    data: PackedData

    @property
    def free(self) -> tuple[Variable, ...]:
        """All free variables in the order of the point."""
        return (*self.plain, *self.other)

    def packed(self, values: Mapping[Any, Any]) -> PackedData:
        """Return other data of the same shapes, as compiled code reads them.

        Raises
        ------
        ValueError
            When a datum is missing or of another shape or kind.
        """
        return pack(self.model, self.extents, values, [self.moments])

    def data_of(self, packed: PackedData) -> list[NDArray[Any]]:
        """Return each datum of the model, in the model's order and of its type."""
        arrays = {"f": packed.numbers, "i": packed.positions}
        start, data = {"f": 0, "i": len(self.extents.lengths)}, []
        for variable in self.model.data_vars:
            kind = np.dtype(variable.type.dtype)
            shape, first = self.extents.shape(variable.name), start[kind.kind]
            start[kind.kind] += prod(shape)
            data.append(arrays[kind.kind][first : start[kind.kind]].reshape(shape).astype(kind, copy=False))
        return data

    def unpacked(self, point: Tensor, numbers: Tensor, positions: Tensor) -> dict[Variable, Tensor]:
        """Return each value variable, datum and length of the model as a piece of the packed arrays."""
        model, shapes = self.model, self.extents.shapes
        pieces = {model.rvs_to_values[variable]: "point" for variable in self.free}
        pieces |= {each: _BUFFER[np.dtype(each.type.dtype).kind] for each in model.data_vars}
        lengths = {length: Piece("", (name,)) for name, length in model.dim_lengths.items()}
        laid = {each: Piece(buffer, shapes[str(each.name)]) for each, buffer in pieces.items()} | lengths
        operation = Unpack(tuple(self.extents.lengths), tuple(laid.values()))
        return dict(zip(laid, operation.make_node(point, numbers, positions).outputs, strict=True))


_BUFFER = {"f": "numbers", "i": "positions"}


def lay_out_point(model: pm.Model) -> Layout:
    """Return the layout of a model of continuous variables."""
    initial = _initial_point(model)
    values = model.rvs_to_values
    parameters = {v: moment_pair for v in model.free_RVs if (moment_pair := _constant_parameters(v))}
    constants = {
        variable: [np.broadcast_to(each, np.shape(initial[values[variable].name])) for each in moment_pair]
        for variable, moment_pair in zip(parameters, _evaluated(list(parameters.values())), strict=True)
    }
    free = (*constants, *(variable for variable in model.free_RVs if variable not in constants))
    names = [values[variable].name for variable in free]
    moments = np.concatenate(
        [np.zeros(0), *(moment_pair[k].ravel() for k in (0, 1) for moment_pair in constants.values())]
    )
    extents = extents_of(model, {str(v.name): values[v] for v in free}, initial)
    data = {variable.name: variable.get_value() for variable in model.data_vars}
    return Layout(
        model=model,
        plain=tuple(constants),
        other=free[len(constants) :],
        extents=extents,
        shapes={name: np.shape(initial[name]) for name in names},
        start=np.concatenate([np.zeros(0), *(np.ravel(initial[name]) for name in names)]),
        moments=moments,
        data=pack(model, extents, data, [moments]),
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
    model = layout.model
    rest_of_density = rewrite_graph(
        model.logp(vars=[*layout.other, *model.observed_RVs, *model.potentials]),
        include=("canonicalize", "stabilize"),
    )
    inputs = [pt.dvector("point"), pt.dvector("numbers"), pt.lvector("positions")]
    pieces = layout.unpacked(*inputs)
    # Slopes are by stand-ins for the pieces: by the whole point they would be added up in long chains.
    stand_ins = {variable: piece.type() for variable, piece in pieces.items()}
    rest_of_density = clone_replace(rest_of_density, stand_ins, rebuild_strict=False)
    values = [stand_ins[model.rvs_to_values[variable]] for variable in layout.free]
    slopes = pt.grad(rest_of_density, values, disconnected_inputs="ignore")
    rest_of_density, *slopes = clone_replace(
        [rest_of_density, *slopes], {stand_ins[variable]: piece for variable, piece in pieces.items()}
    )
    joined = Join(len(layout.plain), tuple(slope.ndim for slope in slopes))
    outputs = joined.make_node(*inputs[:2], rest_of_density, *slopes).outputs
    return compile_function(inputs, outputs, mode="NUMBA", on_unused_input="ignore", trust_input=True)

"""Two operations of the compiled density: packed arrays to the model's own, and slopes to one gradient.

Written as one operation each, with loops of their own, since a slice, a product of lengths and a new shape
for each of some seventy arrays would be most of the graph to compile.
"""

from collections.abc import Sequence
from hashlib import sha256
from typing import Any

import numpy as np
import pytensor.tensor as pt
from numpy.typing import NDArray
from pytensor.graph.basic import Apply
from pytensor.graph.op import Op
from pytensor.link.numba.cache import compile_numba_function_src
from pytensor.link.numba.dispatch.basic import numba_njit, register_funcify_and_cache_key

from holdcast.capacity.sampler.packing import Length, Piece
from holdcast.capacity.symbols import Compiled, Tensor

__all__ = ["Join", "Unpack"]

_BUFFERS = ("point", "numbers", "positions")


class Unpack(Op):  # type: ignore[misc]  # the library is untyped
    """Point, numbers and positions to the arrays in them, each a view.

    Parameters
    ----------
    lengths : tuple of str
        Names of the lengths at the head of the positions.
    pieces : tuple of Piece
        In the order in which they lie in their arrays.
    """

    __props__ = ("lengths", "pieces")

    def __init__(self, lengths: tuple[str, ...], pieces: tuple[Piece, ...]) -> None:
        self.lengths, self.pieces = lengths, pieces
        self.view_map = {
            place: [_BUFFERS.index(piece.buffer)]
            for place, piece in enumerate(pieces)
            if piece.buffer and piece.shape
        }

    def make_node(self, *buffers: Tensor) -> Apply:
        """Return the node; a length that only the campaign fixes is unknown to the graph."""
        buffer_tensors = [pt.as_tensor_variable(each) for each in buffers]
        outputs = [
            pt.tensor(
                dtype="float64" if piece.buffer in _BUFFERS[:2] else "int64",
                shape=tuple(None if isinstance(each, str) else each for each in piece.shape)
                if piece.buffer
                else (),
            )
            for piece in self.pieces
        ]
        return Apply(self, buffer_tensors, outputs)

    def infer_shape(self, node: Apply, shapes: Sequence[Tensor]) -> list[tuple[Any, ...]]:
        """Return lengths as entries of the positions, so that equal ones are seen to be equal."""
        positions = node.inputs[2]
        at = {name: positions[place] for place, name in enumerate(self.lengths)}
        return [
            tuple(
                at[each] if isinstance(each, str) else pt.constant(each, dtype="int64")
                for each in piece.shape
            )
            if piece.buffer
            else ()
            for piece in self.pieces
        ]

    def perform(self, node: Apply, inputs: list[Any], outputs: list[list[Any]]) -> None:
        """Do the same without compiling."""
        buffers = dict(zip(_BUFFERS, inputs, strict=True))
        lengths = dict(zip(self.lengths, buffers["positions"], strict=False))
        start = {"point": 0, "numbers": 0, "positions": len(self.lengths)}
        for storage, piece in zip(outputs, self.pieces, strict=True):
            if not piece.buffer:
                storage[0] = np.asarray(lengths[str(piece.shape[0])])
                continue
            shape = tuple(lengths[each] if isinstance(each, str) else each for each in piece.shape)
            first, size = start[piece.buffer], int(np.prod(shape, dtype=int))
            storage[0] = buffers[piece.buffer][first : first + size].reshape(shape)
            start[piece.buffer] = first + size

    def source(self) -> str:
        """Return the operation as a function of Python that numba compiles."""
        named = {name: f"length_{place}" for place, name in enumerate(self.lengths)}

        def written(length: Length) -> str:
            return named[length] if isinstance(length, str) else str(length)

        lines = [f"{name} = positions[{place}]" for place, name in enumerate(named.values())]
        lines += ["at_point = 0", "at_numbers = 0", f"at_positions = {len(self.lengths)}"]
        for place, piece in enumerate(self.pieces):
            if not piece.buffer:
                lines.append(f"piece_{place} = np.asarray({written(piece.shape[0])})")
            elif not piece.shape:
                lines.append(f"piece_{place} = np.asarray({piece.buffer}[at_{piece.buffer}])")
                lines.append(f"at_{piece.buffer} += 1")
            else:
                size = " * ".join(map(written, piece.shape))
                shape = "".join(f"{written(each)}, " for each in piece.shape)
                lines.append(f"end = at_{piece.buffer} + {size}")
                flat = f"{piece.buffer}[at_{piece.buffer}:end]"
                lines.append(
                    f"piece_{place} = {flat}" + (f".reshape(({shape}))" if len(piece.shape) > 1 else "")
                )
                lines.append(f"at_{piece.buffer} = end")
        outputs = ", ".join(f"piece_{place}" for place in range(len(self.pieces)))
        lines.append(f"return {outputs}")
        return _function_source("unpack", _BUFFERS, lines)


class Join(Op):  # type: ignore[misc]  # the library is untyped
    """Slopes of each array to one gradient, and the plain normal priors' part of density and gradient.

    Parameters
    ----------
    plain : int
        How many of the slopes, the first ones, are by variables of plain normal priors, whose means and then
        standard deviations end the numbers.
    ndims : tuple of int
        Number of dims of each slope.
    """

    __props__ = ("plain", "ndims")

    def __init__(self, plain: int, ndims: tuple[int, ...]) -> None:
        self.plain, self.ndims = plain, ndims

    def make_node(self, *inputs: Tensor) -> Apply:
        """Return the node of point, numbers, the rest of the log density and all slopes."""
        return Apply(self, [pt.as_tensor_variable(each) for each in inputs], [pt.dscalar(), pt.dvector()])

    def infer_shape(self, node: Apply, shapes: Sequence[Any]) -> list[Any]:
        """Return the shapes of the log density and of the gradient, which is as long as the point."""
        return [(), shapes[0]]

    def perform(self, node: Apply, inputs: list[Any], outputs: list[list[Any]]) -> None:
        """Do the same without compiling."""
        point, numbers, rest_of_density, *slopes = inputs
        gradient: NDArray[np.float64] = np.concatenate([np.ravel(slope) for slope in slopes])
        half = sum(np.size(slope) for slope in slopes[: self.plain])
        mean, sd = np.split(numbers[len(numbers) - 2 * half :], 2)
        standard = (point[:half] - mean) / sd
        gradient[:half] -= standard / sd
        outputs[0][0], outputs[1][0] = np.asarray(rest_of_density - 0.5 * (standard**2).sum()), gradient

    def source(self) -> str:
        """Return the operation as a function of Python that numba compiles."""
        slopes = [f"slope_{place}" for place in range(len(self.ndims))]
        lines = ["gradient = np.empty(point.size)", "at = 0"]
        for place, (name, ndim) in enumerate(zip(slopes, self.ndims, strict=True)):
            if place == self.plain:
                lines.append("half = at")
            index = ", ".join(f"i_{axis}" for axis in range(ndim)) or "()"
            lines += [f"{'    ' * axis}for i_{axis} in range({name}.shape[{axis}]):" for axis in range(ndim)]
            lines += [f"{'    ' * ndim}gradient[at] = {name}[{index}]", f"{'    ' * ndim}at += 1"]
        if self.plain == len(slopes):
            lines.append("half = at")
        lines += [
            "total = 0.0",
            "first = numbers.size - 2 * half",
            "for i in range(half):",
            "    sd = numbers[first + half + i]",
            "    standard = (point[i] - numbers[first + i]) / sd",
            "    total += standard * standard",
            "    gradient[i] -= standard / sd",
            "return np.asarray(rest[()] - 0.5 * total), gradient",
        ]
        return _function_source("join", ("point", "numbers", "rest", *slopes), lines)


def _function_source(name: str, arguments: Sequence[str], lines: Sequence[str]) -> str:
    return f"def {name}({', '.join(arguments)}):\n" + "".join(f"    {line}\n" for line in lines)


@register_funcify_and_cache_key(Unpack)  # type: ignore[untyped-decorator]
def _compiled_unpack(operation: Unpack, **_: object) -> tuple[Compiled, str]:
    return _from_source(operation.source(), "unpack")


@register_funcify_and_cache_key(Join)  # type: ignore[untyped-decorator]
def _compiled_join(operation: Join, **_: object) -> tuple[Compiled, str]:
    return _from_source(operation.source(), "join")


def _from_source(source: str, name: str) -> tuple[Compiled, str]:
    """Return a compiled function and its key in the compiler's cache, which is the source's."""
    function = compile_numba_function_src(source, name, {"np": np}, {})
    return numba_njit(function, error_model="numpy"), sha256(source.encode()).hexdigest()

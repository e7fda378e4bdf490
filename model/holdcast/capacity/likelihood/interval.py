"""Likelihood of a load known exactly, or only to lie above, below or between readings.

The scatter is a Student t with 4 degrees of freedom: heavier tails than a normal, so that a stone in the
crown moves the answer little (Lange, Little & Taylor 1989, *J. Am. Stat. Assoc.* 84:881, suggest about 4;
value from memory).  Its distribution function is closed: with u = t / √(4 + t²) and c = 1 + u,

    F(t) = c² (3 - c) / 4

so a probability between two ends is a polynomial in c, exact far into the tails when c is computed without
cancellation and each interval is mirrored to its lower tail
(:mod:`holdcast.capacity.likelihood.interval_rows`).
"""

from functools import cache
from hashlib import sha256
from inspect import getfile
from pathlib import Path
from types import ModuleType
from typing import Any

import pytensor.tensor as pt
from pytensor import config, function
from pytensor.gradient import DisconnectedType
from pytensor.graph.basic import Apply
from pytensor.graph.op import Op
from pytensor.link.numba.dispatch.basic import register_funcify_and_cache_key

from holdcast.capacity.likelihood import interval_rows
from holdcast.capacity.likelihood.interval_rows import (
    ABOVE,
    BELOW,
    BETWEEN,
    EXACT,
    STUDENT_T,
    Distribution,
    Rows,
    rows_of,
)
from holdcast.capacity.likelihood.kinds import DEGREES_OF_FREEDOM
from holdcast.capacity.symbols import Compiled, Tensor

__all__ = [
    "ABOVE",
    "BELOW",
    "BETWEEN",
    "DEGREES_OF_FREEDOM",
    "EXACT",
    "interval_log_likelihood",
    "source_key",
]


class IntervalLikelihood(Op):  # type: ignore[misc]  # the library is untyped
    """Log likelihood of each row and, in the same pass, its slopes by location, scale and both ends."""

    __props__ = ("distribution",)

    def __init__(self, distribution: Distribution) -> None:
        self.distribution = distribution

    def make_node(self, *inputs: Tensor) -> Apply:
        numbers = [pt.as_tensor_variable(each).astype("float64") for each in inputs[:4]]
        inputs = (*numbers, pt.as_tensor_variable(inputs[4]))
        return Apply(self, list(inputs), [numbers[0].type() for _ in range(5)])

    def perform(self, node: Apply, inputs: list[Any], outputs: list[list[Any]]) -> None:
        for storage, result in zip(outputs, _function(self)(*inputs), strict=True):
            storage[0] = result

    def pullback(self, inputs: list[Tensor], outputs: list[Tensor], cotangents: list[Tensor]) -> list[Tensor]:
        """Return slopes by the inputs; second derivatives are not offered."""
        if not all(isinstance(each.type, DisconnectedType) for each in cotangents[1:]):
            raise NotImplementedError("the interval likelihood has no second derivatives")
        return [*(cotangents[0] * slope for slope in outputs[1:]), DisconnectedType()()]

    def connection_pattern(self, node: Apply) -> list[list[bool]]:
        return [*([True] * 5 for _ in range(4)), [False] * 5]


@register_funcify_and_cache_key(IntervalLikelihood)  # type: ignore[untyped-decorator]
def _compiled_rows(operation: IntervalLikelihood, **_: object) -> tuple[Rows, str]:
    """Return the loop over rows and a key for the cache of compiled code that changes with its source."""
    return rows_of(operation.distribution), source_key(type(operation), operation.distribution)


def source_key(operation: type[Op], distribution: Distribution, *modules: ModuleType) -> str:
    """Return a key for compiled code that changes with the source it comes from.

    Parameters
    ----------
    operation : type
        Whose code is compiled.
    distribution : Distribution
        Functions that stand in their files by name; whatever they call stands there too.
    modules : modules
        That the code comes from, besides the one of single rows.

    Raises
    ------
    ValueError
        When a function of the distribution was made by another one: its source does not tell what it holds.
    """
    functions = [each.py_func for each in vars(distribution).values()]
    if any(function.__closure__ for function in functions):
        raise ValueError("functions of a distribution must not depend on what surrounds them")
    files = {
        *map(getfile, functions),
        *(str(module.__file__) for module in (interval_rows, *modules)),
    }
    named = "".join(f"{each.__module__}.{each.__qualname__};" for each in (operation, *functions)).encode()
    source = b"".join(Path(file).read_bytes() for file in sorted(files))
    return sha256(named + source).hexdigest()


@cache
def _function(operation: IntervalLikelihood) -> Compiled:
    """Return the loop over rows as a function of arrays, from the compiler's cache where it is there."""
    columns = [*(pt.dvector() for _ in range(4)), pt.lvector()]
    with config.change_flags(numba__fastmath=False):
        return function(columns, operation(*columns), mode="NUMBA", trust_input=True)


def interval_log_likelihood(
    location: Tensor,
    scale: Tensor,
    lower: Tensor,
    upper: Tensor,
    kind: Tensor,
    distribution: Distribution = STUDENT_T,
) -> Tensor:
    """Return the log likelihood of each row under a symmetrical distribution of the scatter.

    Parameters
    ----------
    location, scale : tensors, dims (…, trial)
        Median and scale of the log load.
    lower, upper : tensors, dims (…, trial)
        Ends of the log load; finite everywhere (an open end holds any finite number, which is not used), and
        equal where `kind` is exact.
    kind : integer tensor, dims (trial,)
        One of `EXACT`, `BELOW`, `ABOVE`, `BETWEEN`.
    distribution : Distribution
        Density, slope and probability, compiled by numba; the model's Student t by default.

    Returns
    -------
    tensor, dims (…, trial)
        Log density where exact, log probability elsewhere; finite, with finite first derivatives, to at least
        40 scales under the Student t; no second derivatives.
    """
    columns = [pt.as_tensor_variable(column) for column in (location, scale, lower, upper, kind)]
    rows = IntervalLikelihood(distribution)
    if all(column.ndim == 1 for column in columns):
        return rows(*columns)[0]
    shape = pt.broadcast_shape(*columns)
    return rows(*(pt.broadcast_to(column, shape).ravel() for column in columns))[0].reshape(shape)

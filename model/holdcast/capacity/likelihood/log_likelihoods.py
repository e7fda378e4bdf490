"""The likelihood of all pulls, of all resets and of all veers, each as one operation of the model's graph."""

from collections.abc import Mapping
from functools import cache
from typing import Any, NamedTuple

import pytensor.tensor as pt
from pytensor import config, function
from pytensor.gradient import DisconnectedType
from pytensor.graph.basic import Apply
from pytensor.graph.op import Op
from pytensor.graph.type import Type
from pytensor.link.numba.dispatch.basic import register_funcify_and_cache_key

from holdcast.capacity.likelihood import (
    corrections,
    pull_loop,
    pull_rows,
    reset_loop,
    setting_rows,
    spot_grid,
    spot_rows,
    veer_loop,
)
from holdcast.capacity.likelihood.interval import source_key
from holdcast.capacity.likelihood.interval_rows import STUDENT_T, Distribution
from holdcast.capacity.likelihood.pull_loop import Loop
from holdcast.capacity.symbols import Compiled, Tensor
from holdcast.physics.ground import rate

__all__ = ["TESTS", "Kind", "log_likelihood_of"]

_SOURCES = (
    *(pull_loop, pull_rows, reset_loop, setting_rows, spot_grid, spot_rows, veer_loop, corrections, rate),
)


class Kind(NamedTuple):
    """One kind of test.

    Attributes
    ----------
    effects : what moves its likelihood, in the order in which the loop takes it.
    columns : its data, in order after the effects.
    loop : from the scatter's distribution to the compiled loop.
    """

    effects: tuple[str, ...]
    columns: tuple[str, ...]
    loop: Any


TESTS: Mapping[str, Kind] = {
    "pull": Kind(pull_loop.PULL_EFFECTS, (*pull_loop.PULL_COLUMNS, pull_loop.ALONE), pull_loop.pull_loop),
    "reset": Kind(reset_loop.RESET_EFFECTS, reset_loop.RESET_COLUMNS, reset_loop.reset_loop),
    "veer": Kind(veer_loop.VEER_EFFECTS, veer_loop.VEER_COLUMNS, veer_loop.veer_loop),
}
"""Kinds of tests by the contract's words."""


class LogLikelihoodOf(Op):  # type: ignore[misc]  # the library is untyped
    """Log likelihood of all tests of one kind and, in the same pass, its slopes by what moves it."""

    __props__ = ("test", "distribution")

    def __init__(self, test: str, distribution: Distribution) -> None:
        self.test, self.distribution = test, distribution
        self.effects = len(TESTS[test].effects)

    def make_node(self, *inputs: Tensor) -> Apply:
        variables = [pt.as_tensor_variable(each) for each in inputs]
        slopes = [each.type() for each in variables[: self.effects]]
        return Apply(self, variables, [pt.dscalar(), *slopes])

    def perform(self, node: Apply, inputs: list[Any], outputs: list[list[Any]]) -> None:
        results = _function(self, tuple(each.type for each in node.inputs))(*inputs)
        for storage, result in zip(outputs, results, strict=True):
            storage[0] = result

    def pullback(self, inputs: list[Tensor], outputs: list[Tensor], cotangents: list[Tensor]) -> list[Tensor]:
        """Return slopes by the effects; second derivatives, and slopes by data, are not offered."""
        if not all(isinstance(each.type, DisconnectedType) for each in cotangents[1:]):
            raise NotImplementedError("the likelihood of tests has no second derivatives")
        slopes = [cotangents[0] * slope for slope in outputs[1:]]
        return [*slopes, *(DisconnectedType()() for _ in inputs[self.effects :])]

    def connection_pattern(self, node: Apply) -> list[list[bool]]:
        return [[place < self.effects] * len(node.outputs) for place in range(len(node.inputs))]


@register_funcify_and_cache_key(LogLikelihoodOf)  # type: ignore[untyped-decorator]
def _compiled_tests(operation: LogLikelihoodOf, **_: object) -> tuple[Loop, str]:
    """Return the loop over tests and a key for the cache of compiled code that changes with its source."""
    loop: Loop = TESTS[operation.test].loop(operation.distribution)
    return loop, f"{operation.test};{source_key(type(operation), operation.distribution, *_SOURCES)}"


@cache
def _function(operation: LogLikelihoodOf, types: tuple[Type, ...]) -> Compiled:
    """Return the loop over tests as a function of arrays, from the compiler's cache where it is there."""
    symbols = [each() for each in types]
    with config.change_flags(numba__fastmath=False):
        return function(symbols, operation(*symbols), mode="NUMBA", trust_input=True)


def log_likelihood_of(
    test: str,
    effects: Mapping[str, Tensor],
    data: Mapping[str, Tensor],
    distribution: Distribution = STUDENT_T,
) -> Tensor:
    """Return the log likelihood of all tests of one kind together, up to a constant.

    Parameters
    ----------
    test : str
        A word of `TESTS`.
    effects : mapping
        What moves it, see :mod:`.pull_loop`, :mod:`.reset_loop` and :mod:`.veer_loop`.
    data : mapping
        Columns, as :func:`holdcast.capacity.inputs.layout.lay_out` gives them.
    distribution : Distribution
        Of the scatter of loads; the model's Student t by default.

    Returns
    -------
    tensor, no dims
        First derivatives by the effects only.

    Raises
    ------
    KeyError
        When an effect or a column is missing.
    ValueError
        When it is evaluated, where columns differ in length.
    """
    needed = TESTS[test]
    numbers = [pt.as_tensor_variable(effects[name]).astype("float64") for name in needed.effects]
    return LogLikelihoodOf(test, distribution)(*numbers, *(data[name] for name in needed.columns))[0]

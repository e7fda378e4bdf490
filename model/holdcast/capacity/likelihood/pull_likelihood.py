"""The likelihood of all pulls as one operation of the model's graph, with its slopes."""

from collections.abc import Mapping
from functools import cache
from typing import Any

import pytensor.tensor as pt
from pytensor import config, function
from pytensor.gradient import DisconnectedType
from pytensor.graph.basic import Apply
from pytensor.graph.op import Op
from pytensor.link.numba.dispatch.basic import register_funcify_and_cache_key

from holdcast.capacity.likelihood import corrections, pull_rows
from holdcast.capacity.likelihood.interval import source_key
from holdcast.capacity.likelihood.interval_rows import STUDENT_T, Distribution
from holdcast.capacity.likelihood.pull_rows import PullLoop, pull_loop
from holdcast.capacity.symbols import Compiled, Tensor
from holdcast.physics.ground import rate

__all__ = ["COLUMNS", "EFFECTS", "log_likelihood_of_pulls"]

EFFECTS = ("capacity", "visit", "scatter", "fall", "rate")
"""What moves the likelihood, in the order in which the operation takes them; the columns follow."""

COLUMNS = (
    "anchor_of",
    "seabed_of",
    "visit_of",
    "kind",
    "lower",
    "upper",
    "fall_lower",
    "fall_upper",
    "fall_slope",
    "speed",
)
"""Data of each pull, dim trial, in the order in which the operation takes them."""


class PullLikelihood(Op):  # type: ignore[misc]  # the library is untyped
    """Log likelihood of all pulls together and, in the same pass, its slopes by what moves them."""

    __props__ = ("distribution",)

    def __init__(self, distribution: Distribution) -> None:
        self.distribution = distribution

    def make_node(self, *inputs: Tensor) -> Apply:
        given = [pt.as_tensor_variable(each) for each in inputs]
        slopes = [each.type() for each in given[: len(EFFECTS)]]
        return Apply(self, given, [pt.dscalar(), *slopes])

    def perform(self, node: Apply, inputs: list[Any], outputs: list[list[Any]]) -> None:
        for storage, result in zip(outputs, _function(self)(*inputs), strict=True):
            storage[0] = result

    def pullback(self, inputs: list[Tensor], outputs: list[Tensor], cotangents: list[Tensor]) -> list[Tensor]:
        """Return slopes by the effects; second derivatives, and slopes by data, are not offered."""
        if not all(isinstance(each.type, DisconnectedType) for each in cotangents[1:]):
            raise NotImplementedError("the likelihood of pulls has no second derivatives")
        slopes = [cotangents[0] * slope for slope in outputs[1:]]
        return [*slopes, *(DisconnectedType()() for _ in inputs[len(EFFECTS) :])]

    def connection_pattern(self, node: Apply) -> list[list[bool]]:
        return [[place < len(EFFECTS)] * len(node.outputs) for place in range(len(node.inputs))]


@register_funcify_and_cache_key(PullLikelihood)  # type: ignore[untyped-decorator]
def _compiled_pulls(operation: PullLikelihood, **_: object) -> tuple[PullLoop, str]:
    """Return the loop over pulls and a key for the cache of compiled code that changes with its source."""
    loop = pull_loop(operation.distribution)
    return loop, source_key(type(operation), operation.distribution, pull_rows, corrections, rate)


@cache
def _function(operation: PullLikelihood) -> Compiled:
    """Return the loop over pulls as a function of arrays, from the compiler's cache where it is there."""
    effects = [pt.dmatrix(), pt.dvector(), pt.dvector(), pt.dscalar(), pt.dvector()]
    columns = [*(pt.lvector() for _ in range(4)), *(pt.dvector() for _ in range(6))]
    with config.change_flags(numba__fastmath=False):
        return function([*effects, *columns], operation(*effects, *columns), mode="NUMBA", trust_input=True)


def log_likelihood_of_pulls(
    effects: Mapping[str, Tensor],
    data: Mapping[str, Tensor],
    distribution: Distribution = STUDENT_T,
) -> Tensor:
    """Return the log likelihood of all pulls together.

    Parameters
    ----------
    effects : mapping
        `EFFECTS`: log capacity, dims (anchor, seabed), and visit effect, dim visit [log N]; scatter, dim
        seabed; strength of the fall with the uplift angle, no dims; gain per tenfold drag speed, dim seabed
        [1].
    data : mapping
        `COLUMNS`, as :func:`holdcast.capacity.inputs.layout.lay_out` gives them.
    distribution : Distribution
        Of the scatter; the model's Student t by default.

    Returns
    -------
    tensor, no dims
        First derivatives by the effects only.  With Student's t, finite with finite slopes to at least 40
        scales.

    Raises
    ------
    KeyError
        When an effect or a column is missing.
    ValueError
        When it is evaluated, where columns differ in length.

    Notes
    -----
    The sum over rows of :func:`holdcast.capacity.likelihood.interval.log_likelihood_by_kind` at the ends that
    :func:`holdcast.capacity.likelihood.corrections.corrected_ends` gives; tests compare the two.
    """
    numbers = [pt.as_tensor_variable(effects[name]).astype("float64") for name in EFFECTS]
    return PullLikelihood(distribution)(*numbers, *(data[name] for name in COLUMNS))[0]

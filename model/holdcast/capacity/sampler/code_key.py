"""Which compiled code a model needs, without building the graph that it is compiled from.

Taking slopes of the model's graph and rewriting it takes seconds, and gives the same for every campaign.  So
the finished code is filed under what decides it: this program's source, the libraries' versions and the
model's own graph, constants and operations, but none of its data.
"""

import platform
from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytensor
from pytensor.graph.basic import Constant, Variable
from pytensor.graph.traversal import io_toposort

from holdcast.capacity.sampler.density import Layout
from holdcast.capacity.symbols import Compiled

__all__ = ["code_key"]

_LIBRARIES = ("numba", "llvmlite", "numpy", "pymc", "pytensor")
_PACKAGE = Path(__file__).parents[2]
_SOURCE = ("capacity", "physics")


def code_key(layout: Layout) -> str:
    """Return a key that two layouts share only if their compiled densities are the same code.

    Parameters
    ----------
    layout : Layout
        Of a model all of whose own functions are this program's, so that its source tells what they do.
    """
    model = layout.model
    plain = {variable: f"plain {place}" for place, variable in enumerate(layout.plain)}
    terms = [*layout.other, *model.observed_RVs, *model.potentials]
    transforms = [_transform(model.rvs_to_transforms[each]) for each in layout.free]
    observed = [model.rvs_to_values[each] for each in model.observed_RVs]
    graph = _graph([*terms, *observed], plain)
    extents = layout.extents
    shapes = (tuple(extents.lengths), tuple(extents.shapes.values()))
    machine = (platform.machine(), pytensor.config.floatX)
    return sha256(repr((_surroundings(), machine, shapes, transforms, graph)).encode()).hexdigest()


@cache
def _surroundings() -> tuple[str, ...]:
    """Return what tells the code of this program and of the libraries."""
    files = sorted(file for folder in _SOURCE for file in (_PACKAGE / folder).rglob("*.py"))
    source = sha256(b"".join(file.read_bytes() for file in files)).hexdigest()
    return (platform.python_version(), source, *map(version, _LIBRARIES))


def _graph(outputs: Iterable[Variable], names_of_inputs: dict[Variable, str]) -> list[str]:
    """Return each operation on the way to the outputs, with where its inputs come from."""
    outputs = list(outputs)
    names = dict(names_of_inputs)
    lines = []
    for place, node in enumerate(io_toposort(list(names_of_inputs), outputs)):
        inputs = [names.get(each) or _root(each) for each in node.inputs]
        names |= {each: f"{place}.{k}" for k, each in enumerate(node.outputs)}
        lines.append(f"{_operation(node.op)} {inputs} {[str(each.type) for each in node.outputs]}")
    return [*lines, *(names.get(each) or _root(each) for each in outputs)]


def _root(variable: Variable) -> str:
    if isinstance(variable, Constant):
        return _value(variable.data)
    return f"{variable.name} {variable.type}"


def _operation(operation: Compiled) -> str:
    kind = f"{type(operation).__module__}.{type(operation).__qualname__}"
    inner = getattr(operation, "fgraph", None)
    if inner is not None:
        return f"{kind} {_graph(inner.outputs, {each: f'input {k}' for k, each in enumerate(inner.inputs)})}"
    if not hasattr(operation, "__props__"):
        return f"{kind} {operation}"
    return f"{kind} {[(name, _property(value)) for name, value in operation._props_dict().items()]}"


def _property(value: object) -> str:
    """Return what an operation was made with; compiled functions by name, since their address changes."""
    if is_dataclass(value):
        parts = [_property(getattr(value, field.name)) for field in fields(value)]
        return f"{type(value).__qualname__} {parts}"
    written = getattr(value, "py_func", None)
    return f"{written.__module__}.{written.__qualname__}" if written is not None else repr(value)


def _transform(transform: Compiled) -> str:
    parts = vars(transform) if transform is not None else {}
    values = [
        f"{name} {_graph([value], {}) if isinstance(value, Variable) else _value(value)}"
        for name, value in sorted(parts.items())
    ]
    return f"{type(transform).__qualname__} {values}"


def _value(value: object) -> str:
    if isinstance(value, np.ndarray | np.generic):
        return f"{value.dtype} {value.shape} {sha256(np.ascontiguousarray(value).tobytes()).hexdigest()}"
    return repr(value)

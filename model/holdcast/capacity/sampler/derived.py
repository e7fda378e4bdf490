"""From the sampler's unconstrained points to the model's own variables, all draws at once.

The library's plain array functions do this in a second or two; compiled, it would take as long, and the
compiling ten times that.
"""

from collections.abc import Iterator
from math import prod
from typing import Any

import numpy as np
import pytensor
import pytensor.tensor as pt
import xarray as xr
from numpy.typing import NDArray
from pytensor.graph.replace import clone_replace, vectorize_graph

from holdcast.capacity.plain_evaluation import AS_IT_STANDS
from holdcast.capacity.sampler.density import Layout
from holdcast.capacity.sampler.packing import PackedData

__all__ = ["Derivation"]

_DRAWS_AT_ONCE = 500
"""Keeps intermediate arrays small: 500 draws of 300 anchors in 7 seabeds are 8 MB."""


class Derivation:
    """Computes the model's variables from points; built once for a layout, used for any data of its shapes.

    Parameters
    ----------
    layout : Layout
        Of the model.
    """

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        model = layout.model
        outputs = [v for v in model.unobserved_value_vars if not str(v.name).endswith("__")]
        self.names = [str(variable.name) for variable in outputs]
        values = [model.rvs_to_values[variable] for variable in layout.free]
        batches = {value: pt.tensor(dtype="float64", shape=(None, *value.type.shape)) for value in values}
        # Data come as inputs, so that other data of the same shapes can be looked at.
        data = {each: each.type() for each in model.data_vars}
        graphs = clone_replace(outputs, data, rebuild_strict=False)
        self.function = pytensor.function(
            [*batches.values(), *data.values()],
            vectorize_graph(graphs, replace=batches),
            mode=AS_IT_STANDS,
            on_unused_input="ignore",
        )

    def variables(self, points: xr.DataArray, data: PackedData) -> xr.Dataset:
        """Return the model's variables with their own dims and labels.

        Parameters
        ----------
        points : DataArray, dims (chain, draw, …)
            As the sampler drew them.
        data : PackedData
            What the sampler was given.
        """
        flat = points.to_numpy().reshape(-1, self.layout.start.size)
        blocks = [self._block(rows, data) for rows in _blocks(flat)]
        model = self.layout.model
        shape, values_by_name = points.shape[:2], {}
        for place, name in enumerate(self.names):
            values = np.concatenate([block[place] for block in blocks])
            dims = model.named_vars_to_dims.get(name) or tuple(
                f"{name}_dim_{k}" for k in range(values.ndim - 1)
            )
            values_by_name[name] = (
                ("chain", "draw", *map(str, dims)),
                values.reshape(*shape, *values.shape[1:]),
            )
        dims_in_use = {dim for dims, _ in values_by_name.values() for dim in dims}
        coords = {dim: np.asarray(labels) for dim, labels in model.coords.items() if dim in dims_in_use}
        return xr.Dataset(values_by_name, {"chain": points["chain"], "draw": points["draw"], **coords})

    def _block(self, points: NDArray[np.float64], data: PackedData) -> list[NDArray[Any]]:
        with np.errstate(over="ignore", under="ignore"):
            return list(self.function(*self._batches(points), *self.layout.data_of(data)))

    def _batches(self, points: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
        """Yield each value variable at all points."""
        start = 0
        for shape in self.layout.shapes.values():
            yield points[:, start : start + prod(shape)].reshape(len(points), *shape)
            start += prod(shape)


def _blocks(points: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    for start in range(0, max(len(points), 1), _DRAWS_AT_ONCE):
        yield points[start : start + _DRAWS_AT_ONCE]

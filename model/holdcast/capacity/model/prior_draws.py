"""Draws from the prior of every variable of the model, all at once."""

from collections.abc import Sequence

import pymc as pm
import pytensor
import xarray as xr
from pymc.distributions.distribution import SymbolicRandomVariable
from pymc.distributions.shape_utils import change_dist_size
from pymc.pytensorf import reseed_rngs
from pytensor.compile.sharedvalue import SharedVariable
from pytensor.graph.basic import Variable
from pytensor.graph.fg import FunctionGraph
from pytensor.graph.replace import vectorize_graph
from pytensor.graph.traversal import graph_inputs
from pytensor.tensor.random.op import RandomVariable
from pytensor.tensor.random.type import RandomGeneratorType

from holdcast.capacity.model.blocks import LEVELLED_NORMAL
from holdcast.capacity.plain_evaluation import AS_IT_STANDS
from holdcast.capacity.symbols import Tensor, only_serves_sampling

__all__ = ["draw_prior"]

_DRAWS = 500  # enough to tell how far the data moved a parameter


def draw_prior(model: pm.Model, seed: int, draws: int = _DRAWS) -> xr.Dataset:
    """Return draws from the prior, by the model itself.

    Parameters
    ----------
    model : pymc.Model
        As made by :func:`holdcast.capacity.model.build.build_model`.
    seed : int
        The same seed gives the same draws.
    draws : int
        How many.

    Returns
    -------
    Dataset, dims (chain, draw, …)
        One chain; every variable but the observed one and the standard normals that only serve sampling, in
        the model's units.

    Raises
    ------
    NotImplementedError
        When the model has a variable of a kind that this cannot draw.

    Notes
    -----
    The library draws one by one, each a walk through the whole graph from Python: 500 take seconds.  Here
    each variable without parents is drawn as one array, and what follows from them is vectorised.
    """
    variables = [v for v in model.unobserved_RVs if not only_serves_sampling(v.name)]
    own_graph = FunctionGraph(outputs=variables, clone=True)
    _make_levelled_plain(own_graph)
    graphs = vectorize_graph(own_graph.outputs, replace=_drawn_together(own_graph, draws))
    reseed_rngs(_generators(graphs), seed)
    # Nothing is compiled or rewritten, as `pm.draw` would: that takes longer than the drawing.
    arrays = pytensor.function([], graphs, mode=AS_IT_STANDS)()
    values_by_name = {}
    for variable, values in zip(variables, arrays, strict=True):
        dims = model.named_vars_to_dims.get(variable.name) or ()
        values_by_name[str(variable.name)] = (("chain", "draw", *map(str, dims)), values[None])
    dims_in_use = {dim for dims, _ in values_by_name.values() for dim in dims}
    coords = {dim: list(labels) for dim, labels in model.coords.items() if dim in dims_in_use}
    return xr.Dataset(values_by_name, {"chain": [0], "draw": range(draws), **coords})


def _make_levelled_plain(graph: FunctionGraph) -> None:
    """Put a plain normal for each normal about a moving level: the level steers the sampler only."""
    for node in graph.toposort():
        if isinstance(node.op, SymbolicRandomVariable):
            levelled = node.default_output()
            kind = type(node.op).__name__
            if kind != LEVELLED_NORMAL:
                raise NotImplementedError(f"{levelled.name} is a {kind}, of which no prior can be drawn")
            mean, sd, _ = node.op.dist_params(node)
            graph.replace(levelled, pm.Normal.dist(mean, sd), import_missing=True)


def _generators(graphs: Sequence[Variable]) -> list[SharedVariable]:
    """Return the generator of each random variable, in the order in which the graphs reach them."""
    return [
        each
        for each in graph_inputs(graphs)
        if isinstance(each, SharedVariable) and isinstance(each.type, RandomGeneratorType)
    ]


def _drawn_together(graph: FunctionGraph, draws: int) -> dict[Variable, Tensor]:
    """Return the variables without parents with all their draws in one array.

    Those with parents are left out: the library's vectorising handles them.
    """
    follows: set[Variable] = set()
    together = {}
    for node in graph.toposort():
        random = isinstance(node.op, RandomVariable)
        if random and follows.isdisjoint(node.inputs):
            variable = node.default_output()
            together[variable] = change_dist_size(variable, (draws,), expand=True)
        if random or not follows.isdisjoint(node.inputs):
            follows.update(node.outputs)
    return together

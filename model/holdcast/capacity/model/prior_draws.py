"""Draws from the prior of every variable of the model, all at once."""

import pymc as pm
import xarray as xr
from pymc.distributions.distribution import SymbolicRandomVariable
from pymc.distributions.shape_utils import change_dist_size
from pytensor.graph.basic import Variable
from pytensor.graph.replace import vectorize_graph
from pytensor.graph.traversal import ancestors

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
    graphs = vectorize_graph(variables, replace=_drawn_together(model, draws))
    # Nothing is compiled: that would take longer than the drawing.
    arrays = pm.draw(graphs, random_seed=seed, mode=AS_IT_STANDS)
    values_by_name = {}
    for variable, values in zip(variables, arrays, strict=True):
        dims = model.named_vars_to_dims.get(variable.name) or ()
        values_by_name[str(variable.name)] = (("chain", "draw", *map(str, dims)), values[None])
    dims_in_use = {dim for dims, _ in values_by_name.values() for dim in dims}
    coords = {dim: list(labels) for dim, labels in model.coords.items() if dim in dims_in_use}
    return xr.Dataset(values_by_name, {"chain": [0], "draw": range(draws), **coords})


def _drawn_together(model: pm.Model, draws: int) -> dict[Variable, Tensor]:
    """Return variables with all their draws in one array.

    Plain variables with parents are left out: the library's vectorising handles them.
    """
    free, together = set(model.free_RVs), {}
    for variable in model.free_RVs:
        if not any(parent in free and parent is not variable for parent in ancestors([variable])):
            together[variable] = change_dist_size(variable, (draws,), expand=True)
        elif isinstance(variable.owner.op, SymbolicRandomVariable):
            together[variable] = _levelled(variable, together)
    return together


def _levelled(variable: Variable, together: dict[Variable, Tensor]) -> Tensor:
    """Return draws of a normal about a moving level: the level steers the sampler only."""
    kind = type(variable.owner.op).__name__
    if kind != LEVELLED_NORMAL:
        raise NotImplementedError(f"{variable.name} is a {kind}, of which no prior can be drawn")
    mean, sd, _ = variable.owner.op.dist_params(variable.owner)
    return pm.Normal.dist(*vectorize_graph([mean, sd], replace=together))

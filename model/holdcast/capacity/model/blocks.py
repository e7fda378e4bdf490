"""Building blocks of the model: variables from the table of priors, shares as balances, levelled normals."""

from collections.abc import Mapping

import numpy as np
import pymc as pm
import pytensor.tensor as pt
from pymc.logprob.transforms import Transform
from scipy.linalg import helmert

from holdcast.capacity.model.priors import Prior
from holdcast.capacity.symbols import Tensor

__all__ = ["LEVELLED_NORMAL", "effects", "levelled_normal", "variable"]

LEVELLED_NORMAL = "LevelledNormal"
"""Name of the library's class for what :func:`levelled_normal` returns."""


def variable(priors: Mapping[str, Prior], name: str) -> Tensor:
    """Return the model's variable of a prior's name, with its dims.

    Raises
    ------
    KeyError
        When there is no such prior.
    """
    prior = priors[name]
    values, dims = prior.parameters, prior.dims or None
    if prior.distribution == "normal":
        return pm.Normal(name, values["mean"], values["sd"], dims=dims)
    if prior.distribution == "log-normal":
        return pm.LogNormal(name, np.log(values["median"]), values["log_sd"], dims=dims)
    if prior.distribution == "dirichlet":
        weights = np.array(list(values.values()))
        return pm.Dirichlet(name, weights, dims=dims, default_transform=_Balances(len(weights)))
    unit = pm.Beta(f"{name}_unit", values["a"], values["b"], dims=dims)
    return pm.Deterministic(name, values["low"] + (values["high"] - values["low"]) * unit, dims=dims)


def effects(name: str, spread: Tensor, dims: tuple[str, ...]) -> Tensor:
    """Return normal effects of mean 0 and the given spread, sampled as standard normals (non-centred).

    Parameters
    ----------
    name : str
        The standard normals are named ``{name}_z``.
    spread : tensor
        Standard deviation, broadcasting with `dims`.
    dims : tuple of str
        Named dims.
    """
    return spread * pm.Normal(f"{name}_z", 0.0, 1.0, dims=dims)


class _Balances(Transform):  # type: ignore[misc]  # the library is untyped
    """Sample shares p through H log p, H the contrasts of Helmert: each against the mean of those before it.

    Balances, or isometric log-ratios, of compositional data (Egozcue, Pawlowsky-Glahn, Mateu-Figueras &
    Barceló-Vidal 2003, *Math. Geol.* 35:279, value from memory).  The library's own way leaves the last share
    to be what the others leave over, so that they can move one by one but hardly together.
    """

    name = "balances"

    def __init__(self, parts: int) -> None:
        self.contrasts = helmert(parts)

    def forward(self, value: Tensor, *inputs: Tensor) -> Tensor:
        return pt.log(value) @ self.contrasts.T

    def backward(self, value: Tensor, *inputs: Tensor) -> Tensor:
        return pt.special.softmax(value @ self.contrasts, axis=-1)

    def log_jac_det(self, value: Tensor, *inputs: Tensor) -> Tensor:
        """Return the log of the Jacobian's determinant, the last share being what the others leave over."""
        logs = pt.special.log_softmax(value @ self.contrasts, axis=-1)
        return logs.sum(axis=-1) + 0.5 * np.log(self.contrasts.shape[1])


class _Level(Transform):  # type: ignore[misc]  # the library is untyped
    """Sample x through Q (x - level), where the level is the last numeric input of x's distribution.

    Q is orthogonal and constant, so the Jacobian is one.
    """

    name = "level"

    def __init__(self, turn: Tensor | None = None) -> None:
        self.turn = turn

    def forward(self, value: Tensor, *inputs: Tensor) -> Tensor:
        raised = value - _last_number(inputs)
        return raised if self.turn is None else self.turn @ raised

    def backward(self, value: Tensor, *inputs: Tensor) -> Tensor:
        back = value if self.turn is None else self.turn.T @ value
        return back + _last_number(inputs)

    def log_jac_det(self, value: Tensor, *inputs: Tensor) -> Tensor:
        return pt.zeros_like(value)


def _helmert(size: Tensor) -> Tensor:
    """Return Helmert's orthogonal matrix: the mean's row, then each against the mean of those before it.

    Written out, since the size belongs to the campaign and must be no part of the compiled code.
    """
    row, column = pt.arange(size)[:, None], pt.arange(size)[None, :]
    contrast = pt.switch(pt.lt(column, row), 1.0, pt.switch(pt.eq(column, row), -row, 0.0))
    length = pt.sqrt(pt.maximum(row * (row + 1), 1))
    return pt.switch(pt.eq(row, 0), 1.0 / pt.sqrt(size), contrast / length)


def _last_number(inputs: tuple[Tensor, ...]) -> Tensor:
    return [entry for entry in inputs if str(getattr(entry, "dtype", "")).startswith("float")][-1]


def levelled_normal(
    name: str, mean: Tensor, sd: Tensor, level: Tensor, dims: str | None = None, *, mean_apart: bool = False
) -> Tensor:
    """Return a plain normal variable x that the sampler sees as x - level.

    The data fix sums of effects far better than each effect.  With `level` minus the sum of the others, the
    sampler moves the sum itself, and no ridge is left; the prior and the model are unchanged, since a shift
    by other variables has unit Jacobian.

    Parameters
    ----------
    name : str
        Name of x.
    mean, sd : tensors, dims `dims` or none
        Of the normal prior of x.
    level : tensor, dims `dims`
        Any function of other variables of the model.
    dims : str, optional
        Named dim of x; a single number has none.  `mean_apart` needs one.
    mean_apart : bool
        True lets the sampler see the mean of x - level and its contrasts (Helmert's) in place of each: for
        effects of which something else takes up what all have in common, so that the data fix contrasts
        well and the mean hardly.
    """
    turn = _helmert(pm.modelcontext(None).dim_lengths[dims]) if mean_apart else None
    # Adding 0 times the level gives each its shape, and keeps the level among the inputs of what is drawn.
    return pm.CustomDist(
        name,
        mean + 0.0 * level,
        sd + 0.0 * level,
        level,
        dist=lambda mean, sd, level, size: pm.Normal.dist(mean + 0.0 * level, sd, size=size),
        logp=lambda value, mean, sd, level: pm.logp(pm.Normal.dist(mean, sd), value),
        transform=_Level(turn),
        class_name=LEVELLED_NORMAL,
        dims=dims,
    )

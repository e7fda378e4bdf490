"""How much of a cell's certainty is owed to its own pulls, without refitting.

A cell's log capacity is r + o: r is what other cells inform too (ground, form, features, what design, traits
and configuration do in other seabeds, …), o what they do in this seabed beyond what theirs in the others let
expect, whose prior variance s² every draw gives.  Draws given all pulls become draws given all but the cell's
own by the weights 1 / p(own pulls | r), with o integrated out: of r the pulls are a weak measurement, so the
weights are steady where those given r + o would not be.  This is integrated importance sampling (Vehtari,
Mononen, Tolvanen, Sivula & Winther 2016, *J. Mach. Learn. Res.* 17(103), value from memory) with
Pareto-smoothed weights (Vehtari, Simpson, Gelman, Yao & Gabry 2024, *J. Mach. Learn. Res.* 25(72), value from
memory).  Then Var(cell without) = Var(r) + E(s²), both weighted.

Where other anchors of the design were tested in the seabed they inform the design's part of o too, which then
stays with r.
``scripts/evidence/own_data.py`` compares the result with true refits.
"""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from arviz_stats.base import array_stats
from numpy.typing import NDArray
from scipy.special import logsumexp, roots_hermitenorm

from holdcast.answers.draws.draws import draws_of
from holdcast.answers.explain.influence import TRUSTED_K, pulls_of_cell
from holdcast.capacity.fitting import Fit
from holdcast.capacity.model.design_parts import TRAIT_EFFECT
from holdcast.capacity.model.design_split import design_covariances
from holdcast.capacity.pointwise.pulls import shifted_log_likelihoods

__all__ = ["own_data", "without_own_pulls"]

_MOST_NUMBERS = 1_000_000
"""Most draws × pulls looked at; draws are thinned to keep it."""
_NODES = 11
"""Nodes of the quadrature over the own part; it is smooth on the scale of the scatter."""
_NUGGET = 1e-9
"""Of the trace of a covariance, added to it, since seabeds may be wholly alike."""
_SAMPLE = ("chain", "draw")

Numbers = NDArray[np.float64]


def without_own_pulls(fit: Fit, cell: tuple[str, str] | None = None) -> xr.Dataset:
    """Return the spread of each cell's log capacity with all pulls, and without those of the cell itself.

    Parameters
    ----------
    fit : Fit
    cell : tuple of str, optional
        Anchor and seabed of the only cell whose pulls are taken away; of all others both spreads are then
        equal.

    Returns
    -------
    Dataset, dims (anchor, seabed)
        ``sd_all`` and ``sd_without`` [log N], standard deviations; equal where a cell has no pulls.
        ``pareto_k`` [1]: above 0.7 the weights are too uneven to trust (0 where there are no pulls).
    """
    spread = fit.posterior["log_capacity"].std(_SAMPLE)
    without, shape = spread.copy(), xr.zeros_like(spread)
    limit = fit.tree["prior"].to_dataset()["log_capacity"].std(_SAMPLE)
    inputs = fit.inputs
    if cell is not None:
        inputs = inputs.isel(trial=pulls_of_cell(draws_of(fit), *cell))
    for at, (spread_without, pareto_k) in _without_own(fit, inputs).items():
        place = {"anchor": at[0], "seabed": at[1]}
        low, shape[place] = float(spread[place]), pareto_k
        without[place] = np.clip(spread_without, low, max(low, float(limit[place])))
    spreads = xr.Dataset({"sd_all": spread, "sd_without": without, "pareto_k": shape})
    for name, pulls in (("sd_all", "all pulls"), ("sd_without", "all pulls but the cell's own")):
        spreads[name].attrs = {"units": "ln(re 1 N)", "long_name": f"spread of log capacity given {pulls}"}
    spreads["pareto_k"].attrs = {"units": "1", "long_name": "Pareto shape of weights that remove own pulls"}
    return spreads


def _without_own(fit: Fit, inputs: xr.Dataset) -> dict[tuple[int, int], tuple[float, float]]:
    """Return of each cell with pulls its spread without them, and the Pareto shape of the weights."""
    if not inputs.sizes["trial"]:
        return {}
    parts = _parts(fit, _thinned(fit), inputs)
    return {cell: _without(cell, parts) for cell in sorted(parts.pulls)}


def own_data(fit: Fit) -> xr.Dataset:
    """Return how much of each cell's certainty is owed to its own pulls, and where it is only roughly known.

    Returns
    -------
    Dataset, dims (anchor, seabed)
        ``own_data`` [1]: 1 - sd(given all) / sd(given all but the cell's own pulls), 0 to 1;
        ``own_data_rough`` (bool): a few draws carry the estimate, its Pareto k being above `TRUSTED_K`.
    """
    spreads = without_own_pulls(fit)
    share = (1.0 - spreads["sd_all"] / spreads["sd_without"]).clip(0.0, 1.0)
    rough = ~(spreads["pareto_k"] <= TRUSTED_K)
    return xr.Dataset(
        {
            "own_data": share.assign_attrs(units="1", long_name="share of certainty owed to own pulls"),
            "own_data_rough": rough.assign_attrs(units="1", long_name="own_data only roughly known"),
        }
    )


@dataclass(frozen=True)
class _Parts:
    """What the removal needs, draws flattened to one axis.

    Attributes
    ----------
    shared : log capacity less the own part o, (draw, anchor, seabed).
    own_variance : prior variance of o, (draw, anchor, seabed).
    log_likelihood : of each pull with o at the nodes, (node, draw, trial).
    log_weight : of the nodes, (node,).
    pulls : positions of each tested cell's pulls.
    """

    shared: Numbers
    own_variance: Numbers
    log_likelihood: Numbers
    log_weight: Numbers
    pulls: dict[tuple[int, int], list[int]]


def _thinned(fit: Fit) -> xr.Dataset:
    draws = fit.posterior
    numbers = draws.sizes["chain"] * draws.sizes["draw"] * max(fit.inputs.sizes["trial"], 1)
    return draws.isel(draw=slice(None, None, max(2, int(np.ceil(numbers / _MOST_NUMBERS)))))


def _parts(fit: Fit, draws: xr.Dataset, inputs: xr.Dataset) -> _Parts:
    """Return what the removal needs of the pulls of some inputs; all the pulls of their spots are there."""
    own, variance = _own_part(fit, draws, _pulls_by_cell(fit.inputs))
    anchor_of, seabed_of = inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy()
    sizes = draws.sizes["chain"], draws.sizes["draw"]
    present = own[:, anchor_of, seabed_of].reshape(*sizes, -1)
    spread = np.sqrt(variance[:, anchor_of, seabed_of]).reshape(*sizes, -1)
    nodes, weights = roots_hermitenorm(_NODES)
    at_nodes = shifted_log_likelihoods(draws, inputs, [spread * node - present for node in nodes])
    capacity = draws["log_capacity"].transpose(*_SAMPLE, "anchor", "seabed").to_numpy().reshape(own.shape)
    likelihood = np.stack([each.reshape(len(own), -1) for each in at_nodes])
    log_weight = np.log(weights / weights.sum())
    return _Parts(capacity - own, variance, likelihood, log_weight, _pulls_by_cell(inputs))


def _pulls_by_cell(inputs: xr.Dataset) -> dict[tuple[int, int], list[int]]:
    """Return the positions of each tested cell's pulls."""
    cells = zip(inputs["anchor_of"].to_numpy().tolist(), inputs["seabed_of"].to_numpy().tolist(), strict=True)
    pulls: dict[tuple[int, int], list[int]] = {}
    for trial, cell in enumerate(cells):
        pulls.setdefault(cell, []).append(trial)
    return pulls


def _own_part(
    fit: Fit, draws: xr.Dataset, pulls: dict[tuple[int, int], list[int]]
) -> tuple[Numbers, Numbers]:
    """Return draws of each cell's own part o and its prior variance, both (draw, anchor, seabed)."""
    design_of = fit.inputs["design_of"].to_numpy()
    covariance = design_covariances(draws, fit.inputs)
    own, variance = _beyond_other_seabeds(draws["configuration_effect"], covariance.configuration)
    design = draws["design_effect"] + draws[TRAIT_EFFECT]
    of_design, its_variance = _beyond_other_seabeds(design, covariance.design + covariance.traits)
    tested = np.zeros(of_design.shape[1:], dtype=int)
    for anchor, seabed in pulls:
        tested[design_of[anchor], seabed] += 1
    alone = tested[design_of] == 1
    return own + of_design[:, design_of] * alone, variance + its_variance * alone


def _beyond_other_seabeds(effect: xr.DataArray, whole: Numbers) -> tuple[Numbers, Numbers]:
    """Return what an effect is in each seabed beyond what it is in the others lets expect.

    Parameters
    ----------
    effect : DataArray, dims (chain, draw, member, seabed)
        Draws.
    whole : array, (draw, seabed, seabed)
        Its prior covariance over seabeds.

    Returns
    -------
    array, (draw, member, seabed), and array, (draw, 1, seabed)
        Draws of it, and its prior variance.

    Notes
    -----
    Of D ~ N(0, Σ) over seabeds with precision P = Σ⁻¹, D[s] given all others is normal with variance
    1 / P[s, s], and D[s] less its mean given them is (P D)[s] / P[s, s] (conditional of a joint normal, an
    identity); it is independent of the others.
    """
    even = _NUGGET * np.trace(whole, axis1=1, axis2=2)[:, None, None] * np.eye(whole.shape[-1])
    precision = np.linalg.inv(whole + even)
    alone = np.diagonal(precision, axis1=1, axis2=2)[:, None, :]
    values = effect.transpose(*_SAMPLE, ..., "seabed").to_numpy()
    values = values.reshape(-1, *values.shape[2:])
    return values @ precision / alone, 1.0 / alone


def _without(cell: tuple[int, int], parts: _Parts) -> tuple[float, float]:
    """Return a cell's spread without its own pulls, and the Pareto shape of the weights."""
    anchor, seabed = cell
    values, own_variance = parts.shared[:, anchor, seabed], parts.own_variance[:, anchor, seabed]
    at_nodes = parts.log_likelihood[:, :, parts.pulls[cell]].sum(axis=2)
    log_likelihood = logsumexp(at_nodes + parts.log_weight[:, None], axis=0)
    # The library takes the log likelihood that is to be removed, and turns its sign itself.
    log_weights, shape = array_stats.psislw(log_likelihood)
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    mean = weights @ values
    return float(np.sqrt(weights @ ((values - mean) ** 2 + own_variance))), float(shape)

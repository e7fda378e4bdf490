"""How much of a cell's certainty is owed to its own pulls, without refitting.

A cell's log capacity is r + o: r is what other cells inform too (ground, form, features, the design in other
seabeds, …), o the design's effect in this seabed alone, whose prior variance s² every draw gives.  The cell's
pulls on visit j measure w_j = r + v_j, v_j the visit's effect, with noise o + e_j.  Taken as normal, the
pulls are
removed from the joint posterior of x = (r, w_1, …, w_m):

    precision without = precision(x) - Hᵀ N⁻¹ H,    N = s² 1 1ᵀ + diag(1 / curvature_j)

and the cell's variance without them is that of r plus s².  Removing the pulls from r, of which they are a
weak measurement, is stable where removing them from r + o, which they may fix alone, is not.  Where other
anchors of the design were tested in the seabed they inform o too; then the smaller of both removals counts.
``docs/evidence.md`` compares the result with true refits.
"""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.fitting import Fit
from holdcast.capacity.pointwise import pull_draws

__all__ = ["own_data_share", "without_own_pulls"]

_STEP = 0.01
"""Step of the second difference [log N]; far below any scatter, far above rounding."""
_MOST_NUMBERS = 2_000_000
_LEAST_CURVATURE = 1e-6
_SAMPLE = ("chain", "draw")


def without_own_pulls(fit: Fit) -> xr.Dataset:
    """Return the spread of each cell's log capacity with all pulls, and without those of the cell itself.

    Returns
    -------
    Dataset, dims (anchor, seabed)
        ``sd_all`` and ``sd_without`` [log N], standard deviations; equal where a cell has no pulls.
    """
    spread = fit.posterior["log_capacity"].std(_SAMPLE)
    without = spread.copy()
    limit = fit.tree["prior"].to_dataset()["log_capacity"].std(_SAMPLE)
    own = _own_part(fit)
    design_of = fit.inputs["design_of"].to_numpy()
    for cell, pulls in _cell_pulls(fit).items():
        place = {"anchor": cell[0], "seabed": cell[1]}
        alone = not any(
            other != cell and other[1] == cell[1] and design_of[other[0]] == design_of[cell[0]]
            for other in pulls.others
        )
        spreads = [_removed(fit, cell, pulls, own)]
        if not alone:
            spreads.append(_removed(fit, cell, pulls, None))
        low = float(spread[place])
        without[place] = np.clip(min(spreads), low, max(low, float(limit[place])))
    made = xr.Dataset({"sd_all": spread, "sd_without": without})
    for name, given in (("sd_all", "all pulls"), ("sd_without", "all pulls but the cell's own")):
        made[name].attrs = {"units": "log N", "long_name": f"spread of log capacity given {given}"}
    return made


def own_data_share(fit: Fit) -> xr.DataArray:
    """Return 1 - sd(given all) / sd(given all but the cell's own pulls), dims (anchor, seabed), 0 to 1."""
    spreads = without_own_pulls(fit)
    share = 1.0 - spreads["sd_all"] / spreads["sd_without"]
    return share.clip(0.0, 1.0).assign_attrs(units="1", long_name="share of certainty owed to own pulls")


@dataclass(frozen=True)
class _CellPulls:
    """The visits of one cell's pulls, the curvature of all its pulls on each, and the other tested cells."""

    visits: tuple[int, ...]
    curvature: tuple[float, ...]
    others: tuple[tuple[int, int], ...]


def _cell_pulls(fit: Fit) -> dict[tuple[int, int], _CellPulls]:
    inputs, curvature = fit.inputs, _curvature(fit)
    places = [inputs[name].to_numpy().tolist() for name in ("anchor_of", "seabed_of", "visit_of")]
    found: dict[tuple[int, int], dict[int, float]] = {}
    for anchor, seabed, visit, bend in zip(*places, curvature.tolist(), strict=True):
        cell = found.setdefault((anchor, seabed), {})
        cell[visit] = cell.get(visit, 0.0) + bend
    # A pull far out in the tail can curve the wrong way; a visit's pulls together take no certainty away.
    return {
        cell: _CellPulls(
            tuple(bends), tuple(max(bend, _LEAST_CURVATURE) for bend in bends.values()), tuple(found)
        )
        for cell, bends in found.items()
    }


def _curvature(fit: Fit) -> NDArray[np.float64]:
    """Return minus the second derivative of each pull's log likelihood by its median, averaged over draws."""
    draws, trials = fit.posterior, max(fit.inputs.sizes["trial"], 1)
    step = int(np.ceil(draws.sizes["chain"] * draws.sizes["draw"] * trials / _MOST_NUMBERS))
    thinned = draws.isel(draw=slice(None, None, max(step, 4)))
    low, middle, high = (
        pull_draws(thinned, fit.inputs, shift).log_likelihood for shift in (-_STEP, 0.0, _STEP)
    )
    return np.asarray((2.0 * middle - low - high).mean(axis=(0, 1)) / _STEP**2)


@dataclass(frozen=True)
class _OwnPart:
    """The part of a design's effect that is one seabed's alone.

    Attributes
    ----------
    mean : array (chain · draw, design, seabed), given the design's whole effect over seabeds.
    unknown : array (seabed,), its variance given that effect, averaged over draws.
    prior : its prior variance, averaged over draws.
    """

    mean: NDArray[np.float64]
    unknown: NDArray[np.float64]
    prior: float


def _own_part(fit: Fit) -> _OwnPart:
    """Return every design's own part: given its effect D ~ N(0, Σ), mean v Σ⁻¹ D, variance v - v² Σ⁻¹."""
    draws, inputs = fit.posterior, fit.inputs
    total, share = draws["design_spread"] ** 2, draws["design_share"]
    vectors = inputs["alike_vector"].to_numpy()
    kernel = (vectors * inputs["alike_value"].to_numpy()) @ vectors.T
    main, alike, own = (
        (total * share.sel(part=part)).to_numpy().reshape(-1, 1, 1) for part in ("main", "alike", "own")
    )
    covariance = main * np.ones_like(kernel) + alike * kernel + own * np.eye(len(kernel))
    weights = own * np.linalg.inv(covariance)
    effect = draws["design_effect"].transpose("chain", "draw", "design", "seabed").to_numpy()
    effect = effect.reshape(-1, *effect.shape[2:])
    known = np.diagonal(weights, axis1=-2, axis2=-1)
    unknown = (own[:, :, 0] * (1.0 - known)).mean(axis=0)
    return _OwnPart(effect @ weights, unknown, float(own.mean()))


def _removed(fit: Fit, cell: tuple[int, int], pulls: _CellPulls, own: _OwnPart | None) -> float:
    """Return a cell's spread without its pulls; without an own part, from r + o as a whole."""
    draws, (anchor, seabed) = fit.posterior, cell
    rest = draws["log_capacity"].isel(anchor=anchor, seabed=seabed).to_numpy().ravel()
    unknown, prior = 0.0, 0.0
    if own is not None:
        rest = rest - own.mean[:, int(fit.inputs["design_of"][anchor]), seabed]
        unknown, prior = float(own.unknown[seabed]), own.prior
    effects = [draws["visit_effect"].isel(visit=visit).to_numpy().ravel() for visit in pulls.visits]
    joint = np.cov(np.stack([rest, *(rest + effect for effect in effects)])) + unknown
    noise = prior * np.ones((len(effects), len(effects))) + np.diag(1.0 / np.array(pulls.curvature))
    gained = np.zeros_like(joint)
    gained[1:, 1:] = np.linalg.inv(noise)
    precision = np.linalg.inv(joint) - gained
    if np.linalg.eigvalsh(precision)[0] <= 0.0:
        return np.inf
    return float(np.sqrt(np.linalg.inv(precision)[0, 0] + prior))

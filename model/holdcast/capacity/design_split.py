"""What a design has and what its configurations have, told apart after sampling."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

__all__ = ["ANCHOR_EFFECT", "split_designs"]

ANCHOR_EFFECT = "design_and_configuration"
"""Name of the sum of both in the model, dims (anchor, seabed)."""
_SAMPLE = ("chain", "draw")
_NUGGET = 1e-9
"""Added to a variance relative to itself, so that a part with next to none of it can still be solved for."""

Numbers = NDArray[np.float64]


def split_designs(draws: xr.Dataset, inputs: xr.Dataset, smooth_share: float, seed: int) -> xr.Dataset:
    """Return draws of the effects of designs and of configurations, given those of their sum.

    Parameters
    ----------
    draws : Dataset, dims (chain, draw, …)
        `ANCHOR_EFFECT`, ``design_spread`` and ``design_share``.
    inputs : Dataset
        ``design_of``, ``alike_value`` and ``alike_vector``.
    smooth_share : float
        Share of a configuration's variance by seabed that like seabeds have in common.
    seed : int
        Of what the pulls leave open.

    Returns
    -------
    Dataset
        ``design_effect``, dims (chain, draw, design, seabed); ``configuration_effect``, dims (chain, draw,
        anchor, seabed); by anchor their sum is `ANCHOR_EFFECT`.

    Notes
    -----
    With D ~ N(0, Σ) of the design and C ~ N(0, Γ) of each of its n configurations, the mean M of the sums is
    all that the sums tell of D, and given it D is normal with mean G M and covariance Σ - G Σ, where
    G = Σ (Σ + Γ / n)⁻¹ (conditional of a joint normal, an identity).
    """
    dims = (*_SAMPLE, "anchor", "seabed")
    both = draws[ANCHOR_EFFECT].transpose(*dims).to_numpy()
    flat = both.reshape(-1, *both.shape[2:])
    design_of = inputs["design_of"].to_numpy()
    number = np.bincount(design_of, minlength=inputs.sizes["design"])
    mean = np.zeros((len(flat), len(number), flat.shape[2]))
    for anchor, design in enumerate(design_of):
        mean[:, design] += flat[:, anchor] / number[design]
    design_covariance, configuration_covariance = _covariances(draws, inputs, smooth_share)
    random = np.random.default_rng(seed)
    effect = np.zeros_like(mean)
    for count in np.unique(number):
        chosen = number == count
        total = design_covariance + configuration_covariance / count
        gain = np.linalg.solve(total, design_covariance).transpose(0, 2, 1)
        left = design_covariance - gain @ design_covariance
        root = np.linalg.cholesky(_steadied(0.5 * (left + left.transpose(0, 2, 1)), total))
        chance = random.standard_normal((len(flat), int(chosen.sum()), flat.shape[2]))
        effect[:, chosen] = mean[:, chosen] @ gain.transpose(0, 2, 1) + chance @ root.transpose(0, 2, 1)
    shape = both.shape[:2]
    coords = {dim: draws[dim] for dim in dims if dim in draws.coords}
    return xr.Dataset(
        {
            "design_effect": ((*_SAMPLE, "design", "seabed"), effect.reshape(*shape, *effect.shape[1:])),
            "configuration_effect": (dims, (flat - effect[:, design_of]).reshape(both.shape)),
        },
        {**coords, "design": inputs["design"].to_numpy()},
    )


def _covariances(draws: xr.Dataset, inputs: xr.Dataset, smooth_share: float) -> tuple[Numbers, Numbers]:
    """Return the covariances over seabeds of a design and of a configuration, (sample, seabed, seabed)."""
    vectors = inputs["alike_vector"].to_numpy()
    kernel, identity = (vectors * inputs["alike_value"].to_numpy()) @ vectors.T, np.eye(len(vectors))
    total = draws["design_spread"].transpose(*_SAMPLE).to_numpy().ravel() ** 2
    part = {
        str(label): (total * draws["design_share"].sel(part=label).transpose(*_SAMPLE).to_numpy().ravel())[
            :, None, None
        ]
        for label in draws["part"].to_numpy()
    }
    by_seabed = smooth_share * kernel + (1.0 - smooth_share) * identity
    return (
        part["main"] + part["alike"] * kernel + part["own"] * identity,
        part["configuration"] + part["configuration_seabed"] * by_seabed,
    )


def _steadied(covariance: Numbers, scale: Numbers) -> Numbers:
    size = np.trace(scale, axis1=1, axis2=2)[:, None, None]
    return np.asarray(covariance + _NUGGET * size * np.eye(covariance.shape[-1]))

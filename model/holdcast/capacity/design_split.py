"""What a design has and what its configurations have, told apart after sampling."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.design_parts import TRAIT_EFFECT, DesignVariances, Variances, design_variances

__all__ = [
    "ANCHOR_EFFECT",
    "DESIGN_AND_CONFIGURATION",
    "covariance_over_seabeds",
    "drawn_variances",
    "effects_of_anchors",
    "root_of",
    "split_designs",
]

DESIGN_AND_CONFIGURATION = "design_and_configuration"
"""Name of the sum of both in the model, dims (anchor, seabed)."""
ANCHOR_EFFECT = "anchor_effect"
"""Name of what an anchor has of design, hidden traits and configuration together, dims (anchor, seabed)."""
_SAMPLE = ("chain", "draw")
_NUGGET = 1e-9
"""Of the trace of a whole covariance, added to what is left of it, since next to nothing may be left."""
_STREAM = 1
"""Told to the random generator beside the seed, so that no other use of the seed draws the same numbers."""

Numbers = NDArray[np.float64]


def split_designs(draws: xr.Dataset, inputs: xr.Dataset, seed: int) -> xr.Dataset:
    """Return draws of the effects of designs and of configurations, given those of their sum.

    Parameters
    ----------
    draws : Dataset, dims (chain, draw, …)
        `DESIGN_AND_CONFIGURATION`, ``design_spread`` and ``design_share``.
    inputs : Dataset
        ``design_of``, ``alike_value`` and ``alike_vector``.
    seed : int
        Of what the pulls leave open.

    Returns
    -------
    Dataset
        ``design_effect``, dims (chain, draw, design, seabed); ``configuration_effect``, dims (chain, draw,
        anchor, seabed); by anchor their sum is `DESIGN_AND_CONFIGURATION`.

    Notes
    -----
    With D ~ N(0, Σ) of the design and C ~ N(0, Γ) of each of its n configurations, the mean M of the sums is
    all that the sums tell of D, and given it D is normal with mean G M and covariance Σ - G Σ, where
    G = Σ (Σ + Γ / n)⁻¹ (conditional of a joint normal, an identity).
    """
    dims = (*_SAMPLE, "anchor", "seabed")
    both = draws[DESIGN_AND_CONFIGURATION].transpose(*dims).to_numpy()
    flat = both.reshape(-1, *both.shape[2:])
    design_of = inputs["design_of"].to_numpy()
    number = np.bincount(design_of, minlength=inputs.sizes["design"])
    mean = np.zeros((len(flat), len(number), flat.shape[2]))
    for anchor, design in enumerate(design_of):
        mean[:, design] += flat[:, anchor] / number[design]
    design_covariance, configuration_covariance = _covariances(draws, inputs)
    random = np.random.default_rng([seed, _STREAM])
    effect = np.zeros_like(mean)
    for count in np.unique(number):
        chosen = number == count
        total = design_covariance + configuration_covariance / count
        gain = np.linalg.solve(total, design_covariance).transpose(0, 2, 1)
        left = design_covariance - gain @ design_covariance
        root = root_of(left, total)
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


def _covariances(draws: xr.Dataset, inputs: xr.Dataset) -> tuple[Numbers, Numbers]:
    """Return the covariances over seabeds of a design and of a configuration, (sample, seabed, seabed)."""
    design, configuration, _ = drawn_variances(draws)
    return covariance_over_seabeds(design, inputs), covariance_over_seabeds(configuration, inputs)


def drawn_variances(draws: xr.Dataset) -> DesignVariances:
    """Return variances of designs, of configurations and of a trait's loadings, shape (sample, 1, 1)."""
    variance = draws["design_share"] * draws["design_spread"] ** 2
    flat = variance.transpose("part", *_SAMPLE).to_numpy().reshape(variance.sizes["part"], -1, 1, 1)
    return design_variances(dict(zip(map(str, variance["part"].to_numpy()), flat, strict=True)))


def covariance_over_seabeds(of: Variances, inputs: xr.Dataset) -> Numbers:
    """Return covariances of an effect, (sample, seabed, seabed), from its variances (sample, 1, 1)."""
    vectors = inputs["alike_vector"].to_numpy()
    kernel = (vectors * inputs["alike_value"].to_numpy()) @ vectors.T
    return np.asarray(of.main + of.alike * kernel + of.own * np.eye(len(kernel)))


def effects_of_anchors(draws: xr.Dataset, inputs: xr.Dataset) -> xr.DataArray:
    """Return what each anchor has of its design, its hidden traits and its configuration together.

    Parameters
    ----------
    draws : Dataset, dims (chain, draw, …)
        ``design_effect``, ``configuration_effect`` and `TRAIT_EFFECT`.
    inputs : Dataset
        ``design_of``.

    Returns
    -------
    DataArray, dims (chain, draw, anchor, seabed)
    """
    design = (draws["design_effect"] + draws[TRAIT_EFFECT]).isel(
        design=inputs["design_of"].reset_coords(drop=True)
    )
    whole = design.drop_vars("design", errors="ignore") + draws["configuration_effect"]
    return whole.transpose(*_SAMPLE, "anchor", "seabed")


def root_of(covariance: Numbers, whole: Numbers) -> Numbers:
    """Return Cholesky roots of covariances left of larger ones `whole`, both (sample, seabed, seabed)."""
    size = np.trace(whole, axis1=1, axis2=2)[:, None, None]
    even = 0.5 * (covariance + covariance.transpose(0, 2, 1))
    return np.linalg.cholesky(even + _NUGGET * size * np.eye(covariance.shape[-1]))

"""What designs, their hidden traits and their configurations do, told apart after sampling."""

from typing import NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.model.design_parts import (
    LOADING,
    SCORE,
    TRAIT_EFFECT,
    Variances,
    design_variances,
)

__all__ = [
    "ANCHOR_EFFECT",
    "DesignCovariances",
    "design_covariances",
    "effects_of_anchors",
    "root_of",
    "split_designs",
    "trait_covariance",
]

ANCHOR_EFFECT = "anchor_effect"
"""Name of what an anchor has of design, hidden traits and configuration together, dims (anchor, seabed)."""
_SAMPLE = ("chain", "draw")
_NUGGET = 1e-9
"""Of the trace of a whole covariance, added before it is solved or rooted: like seabeds may leave next to
nothing of it in some direction."""
_STREAM = 1
"""Told to the random generator beside the seed, so that no other use of the seed draws the same numbers."""

Numbers = NDArray[np.float64]


def split_designs(draws: xr.Dataset, inputs: xr.Dataset, seed: int) -> xr.Dataset:
    """Return draws of what designs, hidden traits and configurations do, given those of their sum.

    Parameters
    ----------
    draws : Dataset, dims (chain, draw, …)
        `ANCHOR_EFFECT`, `LOADING`, ``design_spread`` and ``design_share``.
    inputs : Dataset
        ``design_of``, ``alike_value`` and ``alike_vector``.
    seed : int
        Of what the pulls leave open.

    Returns
    -------
    Dataset
        `SCORE`, dims (chain, draw, design, trait); `TRAIT_EFFECT`, scores times loadings, and
        ``design_effect``, dims (chain, draw, design, seabed); ``configuration_effect``, dims (chain, draw,
        anchor, seabed); by anchor the last three add up to `ANCHOR_EFFECT`.

    Notes
    -----
    With s ~ N(0, I) the scores of the design, L the loadings (trait, seabed), D ~ N(0, Σ) of the design and
    C ~ N(0, Γ) of each of its n configurations, the mean M of the sums Lᵀ s + D + C is all that the sums
    tell of s and D.  Given M, s is normal with mean H M and covariance I - H Lᵀ, where
    H = L (LᵀL + Σ + Γ / n)⁻¹.  Given s too, D is normal with mean G (M - Lᵀ s) and covariance Σ - G Σ, where
    G = Σ (Σ + Γ / n)⁻¹ (conditionals of a joint normal, an identity).
    """
    whole = _by_sample(draws[ANCHOR_EFFECT], "anchor", "seabed")
    loading = _by_sample(draws[LOADING], "trait", "seabed")
    design_of = inputs["design_of"].to_numpy()
    number = np.bincount(design_of, minlength=inputs.sizes["design"])
    mean = np.zeros((len(whole), len(number), whole.shape[2]))
    for anchor, design in enumerate(design_of):
        mean[:, design] += whole[:, anchor] / number[design]
    covariance = design_covariances(draws, inputs)
    random = np.random.default_rng([seed, _STREAM])
    score, effect = np.zeros((*mean.shape[:2], loading.shape[1])), np.zeros_like(mean)
    for count in np.unique(number):
        of_this_count = number == count
        of_effects = covariance.design + covariance.configuration / count
        of_mean, identity = covariance.traits + of_effects, np.eye(loading.shape[1])
        score[:, of_this_count] = _conditional_draws(
            mean[:, of_this_count], of_mean, loading, identity, random
        )
        beyond = mean[:, of_this_count] - score[:, of_this_count] @ loading
        effect[:, of_this_count] = _conditional_draws(
            beyond, of_effects, covariance.design, covariance.design, random
        )
    traits = score @ loading
    parts = {
        SCORE: (("design", "trait"), score),
        TRAIT_EFFECT: (("design", "seabed"), traits),
        "design_effect": (("design", "seabed"), effect),
        "configuration_effect": (("anchor", "seabed"), whole - (effect + traits)[:, design_of]),
    }
    sizes = [draws.sizes[dim] for dim in _SAMPLE]
    return xr.Dataset(
        {
            name: ((*_SAMPLE, *dims), values.reshape(*sizes, *values.shape[1:]))
            for name, (dims, values) in parts.items()
        },
        {**draws[[ANCHOR_EFFECT, LOADING]].coords, "design": inputs["design"].to_numpy()},
    )


def _by_sample(array: xr.DataArray, *dims: str) -> Numbers:
    """Return draws with chains one after the other, dims (sample, *dims)."""
    values = array.transpose(*_SAMPLE, *dims).to_numpy()
    return np.asarray(values.reshape(-1, *values.shape[2:]))


def _conditional_draws(
    y: Numbers, covariance: Numbers, between: Numbers, prior: Numbers, random: np.random.Generator
) -> Numbers:
    """Return draws of normal x given normal y, both of mean 0, (sample, member, x).

    Parameters
    ----------
    y, covariance : y, (sample, member, y), and its covariance, (sample, y, y).
    between, prior : covariance of x with y, (sample, x, y), and of x, broadcasting with (sample, x, x).
    random : of what y leaves open.
    """
    gain = np.linalg.solve(covariance + _nugget(covariance), between.transpose(0, 2, 1))
    remainder = prior - between @ gain
    root = root_of(remainder, np.broadcast_to(prior, remainder.shape))
    chance = random.standard_normal((*y.shape[:2], remainder.shape[1]))
    return np.asarray(y @ gain + chance @ root.transpose(0, 2, 1))


class DesignCovariances(NamedTuple):
    """Covariances over seabeds, draw by draw.

    Attributes
    ----------
    design, traits, configuration : arrays, shape (sample, seabed, seabed)
        Of what a design has, of what traits do to it and of what sets a configuration apart [log N squared].
    """

    design: Numbers
    traits: Numbers
    configuration: Numbers


def design_covariances(draws: xr.Dataset, inputs: xr.Dataset) -> DesignCovariances:
    """Return the prior covariances of a design's effect, its traits' and a configuration's, draw by draw.

    Parameters
    ----------
    draws : Dataset, dims (chain, draw, …)
        `LOADING`, ``design_spread`` and ``design_share``.
    inputs : Dataset
        ``alike_value`` and ``alike_vector``.

    Returns
    -------
    DesignCovariances
        Samples are chains one after the other.
    """
    variance = draws["design_share"] * draws["design_spread"] ** 2
    flat = _by_sample(variance, "part").T[:, :, None, None]
    of = design_variances(dict(zip(map(str, variance["part"].to_numpy()), flat, strict=True)))
    loading = _by_sample(draws[LOADING], "trait", "seabed")
    return DesignCovariances(
        _over_seabeds(of.design, inputs),
        loading.transpose(0, 2, 1) @ loading,
        _over_seabeds(of.configuration, inputs),
    )


def _over_seabeds(of: Variances, inputs: xr.Dataset) -> Numbers:
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


def trait_covariance(draws: xr.Dataset) -> xr.DataArray:
    """Return the covariance over seabeds of what traits do to a design: all that loadings mean.

    Parameters
    ----------
    draws : Dataset, dims (chain, draw, …)
        `LOADING`, dims (chain, draw, trait, seabed).

    Returns
    -------
    DataArray, dims (chain, draw, seabed, other_seabed)
        Log N squared.  It stays the same when traits are turned round or into each other.
    """
    loading = draws[LOADING]
    product: xr.DataArray = xr.dot(loading, loading.rename(seabed="other_seabed"), dim="trait")
    return product


def root_of(covariance: Numbers, whole: Numbers) -> Numbers:
    """Return Cholesky roots of covariances left of larger ones `whole`, both (sample, seabed, seabed)."""
    even = 0.5 * (covariance + covariance.transpose(0, 2, 1))
    return np.linalg.cholesky(even + _nugget(whole))


def _nugget(whole: Numbers) -> Numbers:
    size = np.trace(whole, axis1=1, axis2=2)[:, None, None]
    return np.asarray(_NUGGET * size * np.eye(whole.shape[-1]))

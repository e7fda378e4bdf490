"""How alike two seabeds are to an anchor: a kernel over soil and strength."""

import numpy as np
import pytensor.tensor as pt
from numpy.typing import NDArray

from holdcast.capacity.symbols import Tensor
from holdcast.physics.soils import soil_group

__all__ = ["ACROSS_SOILS", "STRENGTH_RANGE", "alike_effects", "alike_kernel", "kernel_parts"]

STRENGTH_RANGE = 1.0
"""Distance on the strength index over which likeness falls to exp(-1/2): about one and a half classes of
ISO 14688-2 (a choice, no source)."""
ACROSS_SOILS = 0.4
"""Likeness left between cohesive and granular ground of one index (a choice, no source)."""


def alike_kernel(index: NDArray[np.float64], soils: list[str]) -> NDArray[np.float64]:
    """Return the correlation of a design's effects between seabeds, from soil and strength alone.

    Parameters
    ----------
    index : array, shape (seabed,)
        Strength index of each seabed [1].
    soils : list of str
        Principal fraction of each.

    Returns
    -------
    array, shape (seabed, seabed)
        Ones on the diagonal; positive semi-definite, a product of two kernels.
    """
    groups = np.array([soil_group(soil) for soil in soils])
    distance = (index[:, None] - index[None, :]) / STRENGTH_RANGE
    return np.exp(-0.5 * distance**2) * np.where(groups[:, None] == groups[None, :], 1.0, ACROSS_SOILS)


def kernel_parts(kernel: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return eigenvalues (component,) and eigenvectors (seabed, component), with fixed signs.

    In this basis a mixture of the kernel and independence is a plain scaling, and no factorisation is needed
    while sampling (:func:`alike_effects`).
    """
    values, vectors = np.linalg.eigh(kernel)
    largest = vectors[np.abs(vectors).argmax(axis=0), np.arange(len(values))]
    return np.maximum(values, 0.0), vectors * np.sign(largest)


def alike_effects(
    standard: Tensor, value: Tensor, vector: Tensor, alike: Tensor, own: Tensor, main: Tensor | None = None
) -> Tensor:
    """Return effects by seabed, of a covariance of our choice between seabeds, from standard normals.

    Parameters
    ----------
    standard : tensor, dims (member, component)
        Independent standard normals; when they are scaled, so are the effects.
    value, vector : tensors, dims (component,) and (seabed, component)
        Λ and U of the kernel K, from :func:`kernel_parts`.
    alike, own, main : numbers, or tensors of shape (member, 1)
        Variances that like seabeds share, of one seabed's own (above 0), and that all seabeds share: the
        covariance of a member is alike K + own I + main 1 1ᵀ.

    Returns
    -------
    tensor, dims (member, seabed)

    Notes
    -----
    alike K + own I = U D² Uᵀ with D² = alike Λ + own.  With w = D⁻¹ Uᵀ 1 √main the whole is
    U D (I + w wᵀ) D Uᵀ, and (I + w wᵀ / (1 + √(1 + wᵀw)))² = I + w wᵀ (identities), so effects are the
    rows of z times that bracket times D Uᵀ.
    """
    root = pt.sqrt(alike * value + own)
    scaled = standard * root
    if main is not None:
        of_all = pt.sqrt(main) * vector.sum(axis=0)
        common = of_all / root
        share = common / (1.0 + pt.sqrt(1.0 + (common**2).sum(axis=-1, keepdims=True)))
        scaled = scaled + (standard * share).sum(axis=1, keepdims=True) * of_all
    return scaled @ vector.T

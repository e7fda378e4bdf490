"""How alike two seabeds are to an anchor: a kernel over soil and strength."""

import numpy as np
from numpy.typing import NDArray

from holdcast.physics.ground.soils import soil_group

__all__ = ["ACROSS_SOILS", "STRENGTH_RANGE", "alike_kernel", "kernel_parts"]

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
    while sampling (:func:`holdcast.capacity.model.seabed_likeness.alike_effects`).
    """
    values, vectors = np.linalg.eigh(kernel)
    largest = vectors[np.abs(vectors).argmax(axis=0), np.arange(len(values))]
    return np.maximum(values, 0.0), vectors * np.sign(largest)

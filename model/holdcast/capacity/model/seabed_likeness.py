"""How alike two seabeds are to an anchor: a kernel over soil and strength."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pytensor.tensor as pt
from numpy.typing import NDArray

from holdcast.capacity.symbols import Tensor
from holdcast.physics.ground.soils import soil_group

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
    standard: Tensor,
    value: Tensor,
    vector: Tensor,
    alike: Tensor,
    own: Tensor,
    shared: Sequence[Tensor] = (),
) -> Tensor:
    """Return effects by seabed, of a covariance of our choice between seabeds, from standard normals.

    Parameters
    ----------
    standard : tensor, dims (member, component)
        Independent standard normals; when they are scaled, so are the effects.
    value, vector : tensors, dims (component,) and (seabed, component)
        Λ and U of the kernel K, from :func:`kernel_parts`.
    alike, own : numbers, or tensors of shape (member, 1)
        Variances that like seabeds share, and of one seabed's own (above 0).
    shared : tensors, dims (component,) or (member, component)
        Uᵀ x of each pattern x over seabeds that adds x xᵀ: the covariance of a member is
        alike K + own I + Σ x xᵀ.

    Returns
    -------
    tensor, dims (member, seabed)

    Notes
    -----
    alike K + own I = U D² Uᵀ with D² = alike Λ + own.  With w = D⁻¹ Uᵀ x one pattern makes it
    U D (I + w wᵀ) D Uᵀ, and B = I + w wᵀ / (1 + √(1 + wᵀw)) has the square I + w wᵀ (identities).  Another
    pattern makes that B (I + v vᵀ) B with v = B⁻¹ w of its own, and so on; effects are the rows of z times
    the brackets, the last one first, times D Uᵀ.
    """
    root = pt.sqrt(alike * value + own)
    steps: list[_Step] = []
    for pattern in shared:
        along = pattern / root
        for step in steps:
            along = step.undone(along)
        steps.append(_Step.of(along))
    effects = standard
    for step in reversed(steps):
        effects = step.done(effects)
    return (effects * root) @ vector.T


class _Step(NamedTuple):
    """The symmetric root I + w wᵀ / (1 + l) of I + w wᵀ, where l = √(1 + wᵀw); rows of w are members'."""

    along: Tensor
    length: Tensor

    @classmethod
    def of(cls, along: Tensor) -> "_Step":
        return cls(along, pt.sqrt(1.0 + (along**2).sum(axis=-1, keepdims=True)))

    def done(self, rows: Tensor) -> Tensor:
        share = (rows * self.along).sum(axis=-1, keepdims=True)
        return rows + share / (1.0 + self.length) * self.along

    def undone(self, rows: Tensor) -> Tensor:
        """Return rows times the root's inverse, I - w wᵀ / (l (1 + l)) (Sherman & Morrison's)."""
        share = (rows * self.along).sum(axis=-1, keepdims=True)
        return rows - share / (self.length * (1.0 + self.length)) * self.along

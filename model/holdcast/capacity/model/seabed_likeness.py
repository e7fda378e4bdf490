"""Effects that like seabeds have in common, from standard normals."""

from collections.abc import Sequence
from typing import NamedTuple

import pytensor.tensor as pt

from holdcast.capacity.symbols import Tensor

__all__ = ["alike_effects"]


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
        Λ and U of the kernel K, from :func:`holdcast.capacity.inputs.likeness.kernel_parts`.
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

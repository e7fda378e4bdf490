"""Designs, their hidden traits and their configurations as one effect of each anchor.

The pulls of an anchor tell of the sum of all three, so the sampler moves that sum.  Of a design with n
configurations, the mean of the sums has covariance D + C / n and each contrast between them C, where D is the
covariance over seabeds of what a design has, its traits included, and C of what sets a configuration apart.
An orthogonal map from means and contrasts to anchors leaves the prior as it is (an identity).  After
sampling, :mod:`.design_split` tells the three apart.
"""

import pytensor.tensor as pt

from holdcast.capacity.symbols import Tensor

__all__ = ["from_means_and_contrasts"]


def from_means_and_contrasts(rows: Tensor, mirror: Tensor, design_of: Tensor, designs: Tensor) -> Tensor:
    """Return effects of anchors from their designs' means (times √n) and contrasts.

    Parameters
    ----------
    rows : tensor, dims (anchor, …)
        As ``anchors_in_mean`` of :func:`holdcast.capacity.inputs.design_layout.design_layout` tells.
    mirror, design_of : tensors, dim anchor
        From :func:`holdcast.capacity.inputs.design_layout.design_layout`, and positions of designs.
    designs : number
        Of designs.

    Returns
    -------
    tensor, dims as `rows`
        Within each design x - 2 v (v · x) with v the mirror's unit vector: orthogonal, its own inverse.
    """
    weighted = mirror[:, None] * rows
    along = pt.zeros((designs, rows.shape[1]))[design_of].inc(weighted)
    return rows - 2.0 * mirror[:, None] * along[design_of]

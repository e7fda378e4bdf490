"""Designs, their hidden traits and their configurations as one effect of each anchor.

The pulls of an anchor tell of the sum of all three, so the sampler moves that sum.  Of a design with n
configurations, the mean of the sums has covariance D + C / n and each contrast between them C, where D is the
covariance over seabeds of what a design has, its traits included, and C of what sets a configuration apart.
An orthogonal map from means and contrasts to anchors leaves the prior as it is (an identity).  After
sampling, :mod:`.design_split` tells the three apart.
"""

import numpy as np
import pytensor.tensor as pt
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.symbols import Tensor

__all__ = ["design_layout", "from_means_and_contrasts"]


def design_layout(design_of: NDArray[np.int64]) -> xr.Dataset:
    """Return which rows of means and contrasts speak for what, and the map from them to anchors.

    Parameters
    ----------
    design_of : array of int, shape (anchor,)
        Position of each anchor's design.

    Returns
    -------
    Dataset, dim anchor
        ``anchors_in_mean`` [1]: at the first anchor of each design the number n of its anchors, that row
        being √n times the mean; 0 elsewhere, those rows being contrasts.  ``design_mirror`` [1]: for each
        design a unit vector, or zeros for a design of one anchor, for :func:`from_means_and_contrasts`.
    """
    _, first, number = np.unique(design_of, return_index=True, return_counts=True)
    anchors = np.zeros(len(design_of))
    anchors[first] = number
    count = number[np.searchsorted(design_of[first], design_of)]
    even = 1.0 / np.sqrt(count)
    apart = (anchors > 0.0) - even
    # |e - even|² = 2 - 2 / √n: Householder's mirror that carries the first axis to the even direction.
    length = np.sqrt(np.where(count > 1, 2.0 - 2.0 * even, 1.0))
    return xr.Dataset(
        {
            "anchors_in_mean": ("anchor", anchors),
            "design_mirror": ("anchor", np.where(count > 1, apart, 0.0) / length),
        }
    )


def from_means_and_contrasts(rows: Tensor, mirror: Tensor, design_of: Tensor, designs: Tensor) -> Tensor:
    """Return effects of anchors from their designs' means (times √n) and contrasts.

    Parameters
    ----------
    rows : tensor, dims (anchor, …)
        As ``anchors_in_mean`` of :func:`design_layout` tells.
    mirror, design_of : tensors, dim anchor
        From :func:`design_layout`, and positions of designs.
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

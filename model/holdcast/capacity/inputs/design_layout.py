"""Which rows of means and contrasts speak for what, for :mod:`holdcast.capacity.model.designs`."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

__all__ = ["design_layout"]


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
        design a unit vector, or zeros for a design of one anchor, for
        :func:`holdcast.capacity.model.designs.from_means_and_contrasts`.
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

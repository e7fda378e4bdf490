"""Capacity against mass of every design in every seabed, a few masses each, for the page to draw."""

import numpy as np
import xarray as xr

from holdcast.answers.sizes.sizes import sizes
from holdcast.capacity.fitting import Fit

__all__ = ["size_curves"]

_MASSES = 5
"""Enough for a line that hardly bends on logarithmic axes."""
_BEYOND = 1.25
"""The curves reach beyond the campaign's own masses by this factor (a choice)."""


def size_curves(fit: Fit) -> xr.Dataset:
    """Return capacity against mass over the masses of the campaign.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    Dataset, dims (shape, seabed, mass_kg, quantile)
        As from :func:`holdcast.answers.sizes.sizes.sizes`, every design, five masses evenly spaced in their
        logarithm.
    """
    own = fit.tree["anchors"]["mass_kg"].to_numpy()
    masses = np.geomspace(own.min() / _BEYOND, own.max() * _BEYOND, _MASSES)
    return sizes(fit, mass_kg=[float(mass) for mass in masses])

"""Round masses within a campaign's own, for a table that anybody can find a size in."""

import numpy as np

from holdcast.capacity.fitting import Fit

__all__ = ["round_masses_kg"]

_ROUND_KG = (2.5, 5.0, 7.5, 10.0, 12.5, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 75.0, 100.0)
_MOST = 5
_BEYOND = 1.25
"""A round mass may lie beyond the campaign's by this factor (a choice)."""


def round_masses_kg(fit: Fit) -> list[float]:
    """Return a few round masses from the smallest anchor of the campaign to the largest [kg].

    The median mass alone where no round one lies among them.
    """
    own = fit.tree["anchors"]["mass_kg"].to_numpy()
    inside = [mass for mass in _ROUND_KG if own.min() / _BEYOND <= mass <= own.max() * _BEYOND]
    if not inside:
        return [float(np.median(own))]
    places = np.linspace(0, len(inside) - 1, min(_MOST, len(inside))).round().astype(int)
    return [inside[place] for place in np.unique(places)]

"""How the resistance of the ground rises with drag speed.

Signature (elementwise; numpy, xarray and PyTensor alike)::

    log_rate_factor(speed_mps, per_decade)

Priors for ``per_decade`` by soil: ``RATE_PER_DECADE_PRIOR[soil] -> (median, (5%, 95%))``.
"""

from collections.abc import Mapping
from math import log as natural_log
from types import MappingProxyType

from holdcast.physics.elementwise import Values, log, log1p, maximum

__all__ = ["RATE_PER_DECADE_PRIOR", "REFERENCE_DRAG_SPEED", "log_rate_factor"]

REFERENCE_DRAG_SPEED = 0.001
"""Speed that counts as rest [m/s]: 1 mm/s; by definition of capacity here."""

RATE_PER_DECADE_PRIOR: Mapping[str, tuple[float, tuple[float, float]]] = MappingProxyType(
    {
        "clay": (0.11, (0.055, 0.22)),
        "silt": (0.07, (0.03, 0.16)),
        "sand": (0.03, (0.01, 0.09)),
        "gravel": (0.02, (0.006, 0.07)),
        "cobble": (0.02, (0.006, 0.07)),
        "rock": (0.02, (0.006, 0.07)),
    }
)
"""Median and 5% and 95% points of a log-normal prior on the gain per tenfold speed, by soil [1].

Clay: 10 to 16% (kaolin, Acta Geotechnica 2025, doi 10.1007/s11440-025-02797-3, read), 5 to 20%, often 10%
(Einav & Randolph 2005; Kulhawy & Mayne 1990, values from memory); the trade's half as much again at about 2
kn is 17% (common practice, no source).  Sand: 6.8% undrained peak, critical state insensitive (direct
simple shear on a clean sand, read).  Silt lies between; gravel and coarser follow sand (common practice, no
source)."""


def log_rate_factor(speed_mps: Values, per_decade: Values) -> Values:
    r"""Return the log of the factor on the load while dragging, relative to the load at the reference speed.

    .. math:: \log F = \log\{1 + \lambda \, \log_{10}[\max(v, v_0) / v_0]\}

    Parameters
    ----------
    speed_mps : number or array
        v, speed of the anchor through the ground [m/s]; 0 for a load held at rest.
    per_decade : number or array
        λ, at least 0 [1]: gain per tenfold speed, as a share of the load at the reference speed.

    Returns
    -------
    number or array
        log F, at least 0; exactly 0 at or below the reference speed v0 = `REFERENCE_DRAG_SPEED`.

    Notes
    -----
    The semi-logarithmic law is chosen over a power of the speed because published gains "per log cycle" are
    shares of the slow strength (Kulhawy & Mayne 1990; Einav & Randolph 2005, values from memory).  The
    power law of the offshore practice differs by under 3% up to 2 kn at 10% (computed).  Valid to about 5
    decades.
    """
    decades = log(maximum(speed_mps, REFERENCE_DRAG_SPEED) / REFERENCE_DRAG_SPEED) / natural_log(10.0)
    return log1p(per_decade * decades)

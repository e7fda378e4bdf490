"""How capacity falls when the pull at the anchor rises from the ground.

Signature (elementwise; numpy, xarray and PyTensor alike)::

    log_uplift_factor(angle_deg, strength_of_fall)   = -strength_of_fall * fall_shape(angle_deg)
    fall_shape(angle_deg)                            the known part, 0 at 0 and 1 at 15 degrees

Priors for the strength of fall: ``STRENGTH_OF_FALL_MEDIAN``, ``STRENGTH_OF_FALL_90`` (5% and 95%).
"""

from math import sqrt as square_root

from holdcast.physics.elementwise import Values, sqrt

__all__ = [
    "KNEE_ANGLE_DEG",
    "REFERENCE_ANGLE_DEG",
    "STRENGTH_OF_FALL_90",
    "STRENGTH_OF_FALL_MEDIAN",
    "fall_shape",
    "log_uplift_factor",
]

REFERENCE_ANGLE_DEG = 15.0
"""Angle at which the strength of fall is stated [deg]; most printed tables have a value near it."""

KNEE_ANGLE_DEG = 5.0
"""Angle about which the curve turns from flat to falling [deg].  Chosen (computed) because one strength
then fits a maker's scope table within 3% from 5.7 to 19.5 degrees; statements that little is lost below 10
degrees and that 5 degrees cost a quarter both exist."""

STRENGTH_OF_FALL_MEDIAN = 0.55
"""Suggested prior median: 58% left at 15 degrees.  Between a maker's scope table, about 0.65 (read,
unsourced there), ship-handling texts, 0.69 at 15 and 1.5 at 5 degrees (value from memory), and a widely
reprinted small-craft table, 0.22 to 0.45 (value from memory)."""

STRENGTH_OF_FALL_90 = (0.25, 1.2)
"""Suggested 5% and 95% points of a log-normal prior: 78% and 30% left at 15 degrees.  Same sources."""


def fall_shape(angle_deg: Values) -> Values:
    r"""Return the known part of the fall with the uplift angle: 0 at 0 degrees, 1 at 15 degrees.

    .. math:: G(\alpha) = g(\alpha) / g(15°), \qquad g(\alpha) = \sqrt{\alpha_k^2 + \alpha^2} - \alpha_k

    Parameters
    ----------
    angle_deg : number or array
        α, angle of the pull at the anchor above the seabed [deg], 0 to 90.

    Returns
    -------
    number or array
        G [1], rising with the angle.  Source: see :func:`log_uplift_factor` (computed).
    """
    # The difference of roots, written so that small angles keep their digits and 0 gives exactly 0.
    knee = KNEE_ANGLE_DEG
    bend = angle_deg * angle_deg / (sqrt(angle_deg * angle_deg + knee * knee) + knee)
    return bend / (square_root(REFERENCE_ANGLE_DEG**2 + knee**2) - knee)


def log_uplift_factor(angle_deg: Values, strength_of_fall: Values) -> Values:
    r"""Return the log of the factor on capacity for an uplift angle at the anchor.

    .. math:: \log F = -c \, G(\alpha), \qquad G \text{ as in } \texttt{fall\_shape}

    Parameters
    ----------
    angle_deg : number or array
        α, angle of the pull at the anchor above the seabed [deg], 0 to 90.
    strength_of_fall : number or array
        c, at least 0 [1]: minus the log of the factor at 15 degrees; log 2 means half is left there.

    Returns
    -------
    number or array
        log F, exactly 0 at 0 degrees, with zero slope there, never rising.

    Notes
    -----
    Only the order is common ground between printed tables: nothing lost at 0 degrees, never rising, at most
    about 55 to 67% left at 14.5 degrees.  The curve is flat below the knee, then falls by a constant share
    per degree. One parameter cannot bracket at once the table that loses nothing at 5.7 degrees and the
    text that loses a quarter at 5; nor does a strength fitted to 15 degrees follow the maker's table at 30
    degrees (10% left, the curve 22%).  Sources and marks: the constants of this module.
    """
    return -strength_of_fall * fall_shape(angle_deg)

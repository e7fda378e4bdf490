"""The tip must break in: a smooth limit on capacity where the tip load is small for the seabed.

Signature (elementwise; numpy, xarray and PyTensor alike)::

    log_penetration_factor(log_tip_load, log_mass_ratio, log_resistance, steepness, tip_growth)
    penetration_margin(log_tip_load, log_mass_ratio, log_resistance, steepness, tip_growth)
"""

from holdcast.physics.elementwise import Values, softplus

__all__ = ["log_penetration_factor", "penetration_margin"]


def penetration_margin(
    log_tip_load: Values,
    log_mass_ratio: Values,
    log_resistance: Values,
    steepness: Values,
    tip_growth: Values,
) -> Values:
    r"""Return how far the tip load exceeds what the seabed asks for: log scale, times the steepness.

    .. math:: M = k \, [\log t - q \log(m / m_0) - \log R]

    The symbols are those of :func:`log_penetration_factor`; M = 0 is the load that halves the capacity.
    """
    return steepness * (log_tip_load - tip_growth * log_mass_ratio - log_resistance)


def log_penetration_factor(
    log_tip_load: Values,
    log_mass_ratio: Values,
    log_resistance: Values,
    steepness: Values,
    tip_growth: Values,
) -> Values:
    r"""Return the log of the factor on capacity for how well the tip breaks in.

    .. math:: \log F = -\log\{1 + \exp(-k \, [\log t - q \log(m / m_0) - \log R])\}

    Parameters
    ----------
    log_tip_load : number or array
        log t, t the scale reading under the fluke tip as mass, in the unit of R.
    log_mass_ratio : number or array
        log(m / m0), natural, m0 = ``size.REFERENCE_MASS_KG`` [1].
    log_resistance : number or array
        log R, R the tip load that halves the capacity of an anchor of the reference mass.
    steepness : number or array
        k > 0 [1]: exponent on the tip load where it is far too small.
    tip_growth : number or array
        q [1], 0 to 2/3: growth of the tip's cross-section with mass; 2/3 when the shape is kept.

    Returns
    -------
    number or array
        log F, at most 0; tends to 0 for a heavy tip, to k·log(t / R) for a light one.

    Notes
    -----
    A working assumption (computed, no source): a smooth limit that is nearly one where the tip breaks in and
    a power law where it does not.  The form is safe for any finite argument and so are its gradients.
    """
    return -softplus(-penetration_margin(log_tip_load, log_mass_ratio, log_resistance, steepness, tip_growth))

"""How capacity grows with the size of an anchor.

Signatures (elementwise; numpy, xarray and PyTensor alike)::

    log_size_factor(log_mass_ratio, exponent)
    log_area_excess(log_area, log_mass_ratio, log_area_at_reference)

with ``log_mass_ratio = log(mass_kg / REFERENCE_MASS_KG)``.
"""

from holdcast.physics.elementwise import Values

__all__ = [
    "AREA_EXPONENT",
    "REFERENCE_MASS_KG",
    "log_area_excess",
    "log_size_factor",
]

REFERENCE_MASS_KG = 10.0
"""Mass at which the size factor is one; a choice of scale, near the middle of small-craft anchors [kg]."""

AREA_EXPONENT = 2.0 / 3.0
"""Area goes with mass^(2/3) when the shape is kept: length with mass^(1/3), area with length². An
identity."""


def log_size_factor(log_mass_ratio: Values, exponent: Values) -> Values:
    r"""Return the log of the factor on capacity for a size, the shape kept.

    .. math:: \log F = b \, \log(m / m_0)

    Parameters
    ----------
    log_mass_ratio : number or array
        log(m / m0), natural, m0 = `REFERENCE_MASS_KG` [1].
    exponent : number or array
        b [1].  Theory bounds it by 2/3 and 1 at full penetration.

    Returns
    -------
    number or array
        log F [1]; zero at the reference mass.

    Notes
    -----
    Form: UFC 4-159-03 (2005), eq. 26 (read).  Its exponents are 0.92 to 0.94 in soft and 0.80 to 0.94 in
    hard ground, for anchors of about 90 kg to 18 t (values from memory); small craft are an extrapolation.
    """
    return exponent * log_mass_ratio


def log_area_excess(log_area: Values, log_mass_ratio: Values, log_area_at_reference: Values) -> Values:
    r"""Return the log of an anchor's fluke area over that of a geometrically similar one of its mass.

    .. math:: \log(A / A_\mathrm{similar}) = \log A - \log A_0 - \tfrac{2}{3} \log(m / m_0)

    Parameters
    ----------
    log_area : number or array
        log of the fluke's plan area, in the unit of `log_area_at_reference`.
    log_mass_ratio : number or array
        log(m / m0), natural, m0 = `REFERENCE_MASS_KG` [1].
    log_area_at_reference : number or array
        log of the area A0 that a typical anchor of the reference mass has.

    Returns
    -------
    number or array
        Log area excess [1]; the same for all sizes of one shape (geometric similarity, an identity).
    """
    return log_area - log_area_at_reference - AREA_EXPONENT * log_mass_ratio

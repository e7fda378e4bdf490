"""Every unit of the project: the factors of a column's unit to the one kept inside, and a few by name.

Signatures::

    to_stored(value, quantity, unit)
    from_stored(value, quantity, unit)
"""

from collections.abc import Mapping

from scipy import constants

__all__ = [
    "FACTORS",
    "GRAVITY",
    "METRES_PER_FOOT",
    "MILLIMETRES_PER_INCH",
    "MPS_PER_KNOT",
    "NEWTONS_PER_LBF",
    "STORED",
    "from_stored",
    "to_stored",
]

# Every factor is exact by definition (international yard and pound, standard gravity, nautical mile);
# source: scipy.constants, read. A strength in psf is a pound-force on a square foot.
GRAVITY = constants.g
"""Standard acceleration of free fall [m/s²]: weight in air over mass."""
METRES_PER_FOOT = constants.foot
MILLIMETRES_PER_INCH = constants.inch / constants.milli
MPS_PER_KNOT = constants.knot
NEWTONS_PER_LBF = constants.lbf

FACTORS: Mapping[str, Mapping[str, float]] = {
    "mass": {"kg": 1.0, "lb": constants.pound},
    "force": {"n": 1.0, "kn": constants.kilo, "kgf": constants.kgf, "lbf": NEWTONS_PER_LBF},
    "length": {"m": 1.0, "ft": METRES_PER_FOOT, "mm": constants.milli, "in": constants.inch},
    "area": {"m2": 1.0, "cm2": constants.centi**2, "in2": constants.inch**2},
    "speed": {"mps": 1.0, "kt": MPS_PER_KNOT},
    "strength": {"kpa": 1.0, "psf": constants.lbf / constants.foot**2 / constants.kilo},
    "mass per length": {"kg_per_m": 1.0, "lb_per_ft": constants.pound / METRES_PER_FOOT},
    "angle": {"deg": 1.0},
    "seconds": {"s": 1.0},
    "hours": {"h": 1.0},
    # Sizes that the trade names in inches or millimetres, whatever else is metric.
    "inch size": {"in": 1.0, "mm": 1.0 / MILLIMETRES_PER_INCH},
    "millimetre size": {"mm": 1.0, "in": MILLIMETRES_PER_INCH},
}

STORED: Mapping[str, str] = {
    quantity: next(unit for unit, factor in units.items() if factor == 1.0)
    for quantity, units in FACTORS.items()
}


def _factor(quantity: str, unit: str) -> float:
    if quantity not in FACTORS:
        raise KeyError(f"unknown quantity {quantity!r}; known: {', '.join(FACTORS)}")
    if unit not in FACTORS[quantity]:
        raise KeyError(f"unknown unit {unit!r} of {quantity}; known: {', '.join(FACTORS[quantity])}")
    return FACTORS[quantity][unit]


def to_stored(value: float, quantity: str, unit: str) -> float:
    """Turn a value in a column's unit into the unit kept inside.

    Parameters
    ----------
    value : float
        Value in `unit`.
    quantity : str
        A key of `FACTORS`, such as ``"force"``.
    unit : str
        Suffix without its underscore, such as ``"lbf"``.

    Returns
    -------
    float
        Value in ``STORED[quantity]``.

    Raises
    ------
    KeyError
        When the quantity or its unit is unknown.
    """
    return value * _factor(quantity, unit)


def from_stored(value: float, quantity: str, unit: str) -> float:
    """Turn a value in the unit kept inside into a column's unit; the inverse of `to_stored`.

    Raises
    ------
    KeyError
        When the quantity or its unit is unknown.
    """
    return value / _factor(quantity, unit)

"""Every unit of the project: the factors of a column's unit to the one kept inside, and a few by name.

Signatures::

    to_stored(value, quantity, unit)
    from_stored(value, quantity, unit)
"""

from collections.abc import Mapping

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

# Every factor is exact by definition: standard gravity (General Conference on Weights and Measures, 1901),
# the international yard and pound of 1959 (a pound has 7,000 grains of 64.79891 mg), the nautical mile of
# 1,852 m. Written out: a library of all of physics' constants takes a tenth of a second to load. A strength
# in psf is a pound-force on a square foot.
GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s²]: weight in air over mass."""
_METRES_PER_INCH = 0.0254
METRES_PER_FOOT = 12 * _METRES_PER_INCH
MILLIMETRES_PER_INCH = _METRES_PER_INCH / 1e-3
MPS_PER_KNOT = 1852.0 / 3600.0
_KG_PER_POUND = 7000 * 64.79891e-6
NEWTONS_PER_LBF = _KG_PER_POUND * GRAVITY

FACTORS: Mapping[str, Mapping[str, float]] = {
    "mass": {"kg": 1.0, "lb": _KG_PER_POUND},
    "force": {"n": 1.0, "kn": 1e3, "kgf": GRAVITY, "lbf": NEWTONS_PER_LBF},
    "length": {"m": 1.0, "ft": METRES_PER_FOOT, "mm": 1e-3, "in": _METRES_PER_INCH},
    "area": {"m2": 1.0, "cm2": 1e-2**2, "in2": _METRES_PER_INCH**2},
    "speed": {"mps": 1.0, "kt": MPS_PER_KNOT},
    "strength": {"kpa": 1.0, "psf": NEWTONS_PER_LBF / METRES_PER_FOOT**2 / 1e3},
    "mass per length": {"kg_per_m": 1.0, "lb_per_ft": _KG_PER_POUND / METRES_PER_FOOT},
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

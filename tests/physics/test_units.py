"""Unit factors against their legal definitions, and there and back again."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from holdcast.physics import units
from holdcast.physics.units import FACTORS, STORED, from_stored, to_stored

PAIRS = [(quantity, unit) for quantity, units in FACTORS.items() for unit in units]


# International yard and pound agreement (1959): lb = 0.45359237 kg, ft = 0.3048 m; standard gravity
# 9.80665 m/s2 (CGPM 1901); international nautical mile 1852 m. Values from memory, exact by definition.
@pytest.mark.parametrize(
    ("quantity", "unit", "value"),
    [
        ("mass", "lb", 0.45359237),
        ("force", "lbf", 0.45359237 * 9.80665),
        ("force", "kgf", 9.80665),
        ("force", "kn", 1000.0),
        ("length", "ft", 0.3048),
        ("length", "in", 0.0254),
        ("length", "mm", 0.001),
        ("area", "in2", 0.0254**2),
        ("area", "cm2", 0.0001),
        ("speed", "kt", 1852 / 3600),
        ("strength", "psf", 0.45359237 * 9.80665 / 0.3048**2 / 1000),
        ("mass per length", "lb_per_ft", 0.45359237 / 0.3048),
        ("inch size", "mm", 1 / 25.4),
        ("millimetre size", "in", 25.4),
    ],
)
def test_factor_is_the_defined_one(quantity: str, unit: str, value: float) -> None:
    assert to_stored(1.0, quantity, unit) == pytest.approx(value, rel=1e-14)


# Source: scipy.constants (CODATA and legal definitions), computed; equal to the last digit.
def test_constants_by_name_are_those_of_the_library() -> None:
    mine = (
        units.GRAVITY, units.METRES_PER_FOOT, units.MPS_PER_KNOT, units.NEWTONS_PER_LBF, FACTORS["mass"]["lb"]
    )  # fmt: skip
    assert mine == (constants.g, constants.foot, constants.knot, constants.lbf, constants.pound)


@given(st.sampled_from(PAIRS), st.floats(1e-9, 1e9))
def test_there_and_back(pair: tuple[str, str], value: float) -> None:
    assert from_stored(to_stored(value, *pair), *pair) == pytest.approx(value, rel=1e-15, abs=0)


def test_every_quantity_keeps_one_unit_unchanged() -> None:
    assert STORED == {
        "mass": "kg", "force": "n", "length": "m", "area": "m2", "speed": "mps", "strength": "kpa",
        "mass per length": "kg_per_m", "angle": "deg", "seconds": "s", "hours": "h", "inch size": "in",
        "millimetre size": "mm",
    }  # fmt: skip


def test_unknown_names_raise() -> None:
    with pytest.raises(KeyError, match="unknown unit 'stone' of mass; known: kg, lb"):
        to_stored(1.0, "mass", "stone")
    with pytest.raises(KeyError, match="unknown quantity 'warmth'; known: mass, force"):
        from_stored(1.0, "warmth", "k")

"""Each number that stands by name in physics, typed once more with its source and mark.

A choice has no source to be held against: typing it here only makes a slip of the hand fail a test.
"""

import ast
import importlib
from collections.abc import Iterator, Mapping
from math import log
from pathlib import Path

import pytest

import holdcast.physics

READ, MEMORY, COMPUTED = "read", "value from memory", "computed"
CHOICE, PRACTICE, EXACT = "choice", "common practice, no source", "exact by definition"
ROOM = Path(holdcast.physics.__file__).parent

CONSTANTS: dict[str, tuple[object, str, str]] = {
    "ground.bearing.NC_DEEP_CIRCLE_ROUGH": (13.11, "Martin & Randolph 2001", MEMORY),
    "ground.bearing.NC_REMOULDED": (9.0, "embedded plate anchors, remoulded clay", MEMORY),
    "ground.bearing.SUBMERGED_UNIT_WEIGHT_KPA_PER_M": (10.0, "EM 1110-2-2504 table 3-1, 60 lb/ft³ up", READ),
    "ground.bearing.GREATEST_FRICTION_ANGLE_DEG": (50.0, "", CHOICE),
    "ground.fluke_angle.ANGLE_STEP_DEG": (15.0, "about 50° for mud less 34° for sand, MO-124", CHOICE),
    "ground.fluke_angle.PUBLISHED_GAIN": (
        # Hard ground: half of log(44 / 70), UFC 4-159-03 (value from memory); mud: no figure.
        {"soft_cohesive": 0.15, "firm_cohesive": -0.25, "granular": -0.25}, "", CHOICE,
    ),
    "ground.rate.REFERENCE_DRAG_SPEED": (0.001, "definition of capacity", CHOICE),
    "ground.rate.RATE_PER_DECADE_PRIOR": (
        {
            "clay": (0.11, (0.055, 0.22)),  # kaolin 0.10 to 0.16 (read), 0.05 to 0.20 (value from memory)
            "silt": (0.07, (0.03, 0.16)),
            "sand": (0.03, (0.01, 0.09)),  # clean sand 0.068 at the peak, none at critical state (read)
            "gravel": (0.02, (0.006, 0.07)),
            "cobble": (0.02, (0.006, 0.07)),
            "rock": (0.02, (0.006, 0.07)),
        },
        "Acta Geotechnica 2025, Einav & Randolph 2005, Kulhawy & Mayne 1990, direct simple shear on sand",
        CHOICE,
    ),
    "ground.strength_index.REFERENCE_STRENGTH_KPA": (40.0, "ISO 14688-2, low to medium", MEMORY),
    "ground.strength_index.FLUKE_DEPTH_M": (0.3, "small-craft flukes", PRACTICE),
    "ground.strength_index.MAPPING_SPREAD": (0.25, "", CHOICE),
    "ground.strength_index.COARSENESS": (
        {"sand": (0.0, 0.0), "gravel": (0.4, 0.3), "cobble": (0.9, 0.5)}, "", PRACTICE,
    ),
    "ground.strength_index.UNCLASSED": (
        {"clay": (log(0.75), 0.9), "silt": (log(0.375), 0.8), "rock": (2.0, 0.8)}, "", PRACTICE,
    ),
    "ground.strength_index.UNCLASSED_GRANULAR_SPREAD": (0.7, "", PRACTICE),
    "ground.strength_index.MEASURED_SPREAD": (
        {"vane": 0.2, "lab": 0.2, "penetrometer": 0.3, "probe": 0.4, "grab": 0.5}, "", PRACTICE,
    ),
    "ground.strength_index.MEASURED_SPREAD_OTHER": (0.4, "", PRACTICE),
    "ground.strength_index.GUESS_SPREAD": (0.6, "", PRACTICE),
    "ground.strength_index.CLASS_SPREAD": ({"guess": 0.3}, "", CHOICE),
    "ground.soils.SOILS": (
        {"clay": "cohesive", "silt": "cohesive", "sand": "granular", "gravel": "granular",
         "cobble": "granular", "rock": "rock"}, "ISO 14688-1 words", MEMORY,
    ),
    "rode.buried_chain.CHAIN_BEARING_FACTOR": (7.6, "Degenkamp & Dutta 1989", MEMORY),
    "rode.buried_chain.CHAIN_WIDTH_IN_DIAMETERS": (2.5, "Neubecker & Randolph 1995", MEMORY),
    "rode.buried_chain.CHAIN_FRICTION_IN_MUD": (0.4, "Vivatrat 1982, 0.4 to 0.6", MEMORY),
    "rode.buried_chain.NEGLIGIBLE_SHARE": (0.05, "", CHOICE),
    "rode.catenary.SEA_WATER_DENSITY": (1025.0, "sea water", PRACTICE),
    "rode.catenary.STEEL_DENSITY": (7850.0, "steel", PRACTICE),
    "rode.make_up.CHAIN_FRICTION": (0.75, "mooring guides, 0.7 to 1.0", MEMORY),
    "rode.uplift.REFERENCE_ANGLE_DEG": (15.0, "", CHOICE),
    "rode.uplift.KNEE_ANGLE_DEG": (5.0, "", CHOICE),
    "rode.uplift.STRENGTH_OF_FALL_MEDIAN": (0.55, "three printed tables", CHOICE),
    "rode.uplift.STRENGTH_OF_FALL_90": ((0.25, 1.2), "three printed tables", CHOICE),
    "size.REFERENCE_MASS_KG": (10.0, "", CHOICE),
    "size.AREA_EXPONENT": (2 / 3, "similitude", COMPUTED),
    "tackle.class_comparison.HOLDING_RATIO": ({"hhp": 2.0, "shhp": 4.0}, "IACS UR A1.4", READ),
    "tackle.class_comparison.SIZES_NEEDED": ({"hhp": 2, "shhp": 3}, "IACS UR A1.4.2", MEMORY),
    "tackle.class_comparison.PULLS_NEEDED": (3, "IACS UR A1.4", READ),
    "tackle.class_comparison.SCOPE_NORMAL": (10.0, "IACS UR A1.4", READ),
    "tackle.class_comparison.SCOPE_LEAST": (6.0, "IACS UR A1.4", READ),
    "tackle.class_comparison.MASS_TOLERANCE": (0.1, "the rule says about equal", CHOICE),
    "tackle.class_comparison.NEXT_SIZE": (1.2, "", CHOICE),
    "tackle.class_comparison.MASS_RATIO_LEAST": (0.1, "IACS UR A1.4.2", MEMORY),
    "tackle.own_weight.LEAST_FRICTION_ANGLE_DEG": (15.0, "API RP 2A, steel in very loose sand", MEMORY),
    "tackle.strength.BREAKING_OVER_WORKING": (
        {"30": 4.0, "40": 4.0, "43": 3.0, "70": 4.0}, "NACM chart (30, 43 read); DIN 766", MEMORY,
    ),
    "tackle.strength.SHACKLE_BREAKING_OVER_WORKING": (5.0, "RR-C-271D; ASME B30.26", READ),
    "tackle.strength.CHAIN_SIZES_MM": ((4.0, 32.0), "", CHOICE),
    "tackle.strength.SHACKLE_SIZE_TOLERANCE": (0.06, "10 mm for 3/8 in, 12 mm for 1/2 in", PRACTICE),
    "tackle.wind.LENGTH_POWER": (1.61, "slope of ABYC H-40 at 30 kn", COMPUTED),
    "tackle.wind.AIR_DENSITY": (1.225, "ISO 2533", MEMORY),
    "tackle.wind.DRAG_COEFFICIENTS": (
        {"flat_plate": 1.2, "round_mast_or_wire": 1.0, "surface_at_an_angle": 0.7,
         "sailing_yacht_bow_on": 0.7}, "a marine supplier's page; a book on anchoring, quoted", READ,
    ),
    "units._KG_PER_POUND": (0.45359237, "international pound 1959", EXACT),
    "units._METRES_PER_INCH": (0.0254, "international yard 1959", EXACT),
    "units.GRAVITY": (9.80665, "CGPM 1901", EXACT),
    "units.METRES_PER_FOOT": (0.3048, "international yard 1959", EXACT),
    "units.MILLIMETRES_PER_INCH": (25.4, "international yard 1959", EXACT),
    "units.MPS_PER_KNOT": (1852 / 3600, "international nautical mile", EXACT),
    "units.NEWTONS_PER_LBF": (0.45359237 * 9.80665, "international pound 1959", EXACT),
}  # fmt: skip
GUARDS = {"rode.loads._NEAREST", "tackle.class_comparison._ROUNDING", "units.FACTORS", "units.STORED"}
"""Spacings of doubles, which say nothing of the trade; factors of units have tests of their own."""


def numbers(value: object) -> object:
    """A constant in plain mappings, tuples and numbers, so that it can be compared."""
    if isinstance(value, Mapping):
        return {key: numbers(each) for key, each in value.items()}
    if isinstance(value, tuple):
        return tuple(numbers(each) for each in value)
    return value if isinstance(value, str) else pytest.approx(value, rel=1e-12, abs=0)


@pytest.mark.parametrize("name", CONSTANTS)
def test_the_constant_is_what_its_source_says(name):
    module, _, constant = name.rpartition(".")
    typed, _, mark = CONSTANTS[name]
    assert getattr(importlib.import_module(f"holdcast.physics.{module}"), constant) == numbers(typed)
    assert mark in {READ, MEMORY, COMPUTED, CHOICE, PRACTICE, EXACT}


def named_numbers() -> Iterator[str]:
    """Names at the head of physics' modules whose value holds a number."""
    for file in sorted(ROOM.rglob("*.py")):
        module = ".".join(file.relative_to(ROOM).with_suffix("").parts)
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
                parts = [part.value for part in ast.walk(node.value) if isinstance(part, ast.Constant)]
                target = node.targets[0] if isinstance(node, ast.Assign) else node.target
                if any(isinstance(part, int | float) for part in parts):
                    yield f"{module}.{ast.unparse(target)}"


def test_every_named_number_of_physics_is_typed_here():
    assert set(named_numbers()) <= set(CONSTANTS) | GUARDS

"""Doubts about what was measured of anchors and seabeds."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from holdcast.campaign.checks.anchors import GREATEST_TIP_FRACTION
from holdcast.campaign.checks.collected import Findings, nearest
from holdcast.campaign.checks.many_rows import column_of, fitting_names, most_of
from holdcast.campaign.columns.known_columns import (
    ANCHORS,
    COVER_MEANINGS,
    COVERS,
    FINE_SOILS,
    STRENGTH_WORDS,
)
from holdcast.campaign.doubts.sheet_masks import doubt_where, has_word, numbers, outside
from holdcast.campaign.files.sheets import Mask, Sheet
from holdcast.physics.ground.soils import StrengthClass, strength_class
from holdcast.physics.tackle.chain_mass import chain_mass_kg_per_m
from holdcast.plain_numbers import significant

__all__ = ["add_anchor_doubts", "add_chain_doubts", "add_seabed_doubts"]

# Wide limits around what has been seen; each only asks a person to look (common practice, no source).
TIP_FRACTION = (0.05, GREATEST_TIP_FRACTION)
AREA_OVER_MASS = (0.003, 0.06)  # m2/kg^(2/3); types cluster near 0.013 to 0.022 (value from memory)
DESIGN_MASS_RATIO = 50.0
CLASS_STRENGTH_RATIO = 2.0
CLASS_ANGLE_DEG = 4.0
CHAIN_MASS_SHARE = 0.25

Numbers = npt.NDArray[np.float64]


def add_anchor_doubts(sheet: Sheet, trusted: Mask, findings: Findings) -> None:
    """Add doubts about masses, tip loads, areas and forms of anchors.

    Parameters
    ----------
    sheet : Sheet
        The rows of anchors.csv.
    trusted : ndarray of bool
        Rows whose mass is not in doubt already: only there are measures held against it.
    findings : Findings
        Doubts are added here.
    """
    _anchor_measures(sheet, trusted, findings)
    _design_masses(sheet, findings)
    _design_forms(sheet, findings)


def add_seabed_doubts(sheet: Sheet, findings: Findings) -> None:
    """Add doubts about soils and what was measured of them."""
    _seabed_measures(sheet, findings)
    _against_class(sheet, findings)
    _covers(sheet, findings)


def _anchor_measures(sheet: Sheet, trusted: Mask, findings: Findings) -> None:
    mass = np.where(trusted, numbers(sheet, "mass_kg"), np.nan)
    low, high = TIP_FRACTION
    usual = f"usually {low:g} to {high:g} of the mass"
    fix = "Check that the scale stood under the tip, on a hard floor, with the anchor in its setting pose."
    tip = numbers(sheet, "tip_load_kg") / mass
    _tip_doubts(sheet, tip, usual, fix, findings)
    fraction = np.where(np.isnan(tip), numbers(sheet, "tip_fraction"), np.nan)
    doubt_where(sheet, outside(fraction, TIP_FRACTION), "tip_fraction", usual, fix, findings)
    area = numbers(sheet, "fluke_area_m2")
    size = mass ** (2 / 3)

    def compare(place: int) -> str:
        least, most = (limit * size[place] for limit in AREA_OVER_MASS)
        return f"An anchor of this mass mostly has {least:.2g} to {most:.2g} m²: check the area and its unit."

    odd = outside(area / size, AREA_OVER_MASS)
    allowed = "an area that fits the mass"
    if most_of(odd, ~np.isnan(area / size)):
        column, header = column_of(ANCHORS, "fluke_area_m2"), sheet.headers["fluke_area_m2"]
        names = fitting_names(column, header, area / size, lambda each: ~outside(each, AREA_OVER_MASS))
        would = f" As {names} they would fit." if names else ""
        sheet.report_together(
            findings,
            odd,
            "fluke_area_m2",
            what="areas that do not fit the masses",
            allowed=allowed,
            fix=f"Is the suffix wrong?{would}",
            severity="doubt",
        )
        return
    sheet.report(findings, odd, "fluke_area_m2", allowed=allowed, fix=compare, severity="doubt")


def _tip_doubts(sheet: Sheet, tip: Numbers, usual: str, fix: str, findings: Findings) -> None:
    """Doubt tip loads that are an unusual share of the mass: one by one, or most at once."""
    odd, heavier = outside(tip, TIP_FRACTION), tip > 1.0  # heavier than the anchor: a fault already
    if not most_of(odd, ~np.isnan(tip)):
        doubt_where(sheet, odd & ~heavier, "tip_load_kg", usual, fix, findings)
    elif not heavier.any():
        least, most = (significant(float(end), 2) for end in (tip[odd].min(), tip[odd].max()))
        what = f"tip loads {least} to {most} times the anchors' masses"
        fix = "Is the suffix of one of the two columns wrong?"
        sheet.report_together(
            findings, odd, "tip_load_kg", what=what, allowed=usual, fix=fix, severity="doubt"
        )


def _design_masses(sheet: Sheet, findings: Findings) -> None:
    """Doubt masses of one design that are too far apart; the one farther from the median is named."""
    mass = sheet.frame["mass_kg"]
    design = sheet.frame["design"]
    named = (design != "").to_numpy(dtype=bool)
    groups = mass.groupby(design)
    spread = (groups.transform("max") / groups.transform("min")).to_numpy(dtype=float)
    farness = (mass / groups.transform("median")).map(np.log).abs()
    farthest = (farness >= farness.groupby(design).transform("max") * (1 - 1e-9)).to_numpy(dtype=bool)
    where = named & (spread > DESIGN_MASS_RATIO) & farthest
    fix = "Check the mass and its unit, and whether it is the same design."
    doubt_where(
        sheet, where, "mass_kg", f"masses of a design within {DESIGN_MASS_RATIO:g} times", fix, findings
    )


def _design_forms(sheet: Sheet, findings: Findings) -> None:
    """Doubt forms of one design that differ from its first one; a blank cell counts as other."""
    design, form = sheet.frame["design"], sheet.frame["form"]
    named = (design != "").to_numpy(dtype=bool) & sheet.sound("design", "form")
    first = form[named].groupby(design[named]).first()
    odd = named & (form != design.map(first)).to_numpy(dtype=bool)

    def fix(place: int) -> str:
        return f"An earlier row of its design has {first[design.iloc[place]]}: is it the same design?"

    sheet.report(findings, odd, "form", allowed="one form for a design", fix=fix, severity="doubt")


def _seabed_measures(sheet: Sheet, findings: Findings) -> None:
    fine = has_word(sheet, "soil", *FINE_SOILS)
    has_soil = ~has_word(sheet, "soil", "")
    undrained = has_soil & ~fine & ~np.isnan(numbers(sheet, "undrained_strength_kpa"))
    fix = "It is a measure of clay and silt: check the soil."
    doubt_where(sheet, undrained, "undrained_strength_kpa", "a blank cell for coarse soils", fix, findings)
    angle = fine & ~np.isnan(numbers(sheet, "friction_angle_deg"))
    fix = "It is a measure of sand and coarser soils: check the soil."
    doubt_where(sheet, angle, "friction_angle_deg", "a blank cell for clay and silt", fix, findings)
    rock = has_word(sheet, "soil", "rock") & ~has_word(sheet, "strength", "")
    doubt_where(
        sheet, rock, "strength", "a blank cell for rock", "A strength class says nothing of rock.", findings
    )
    same = ~has_word(sheet, "secondary", "") & (sheet.frame["secondary"] == sheet.frame["soil"]).to_numpy(
        dtype=bool
    )
    doubt_where(sheet, same, "secondary", "another soil than the principal one", "Leave it blank.", findings)


def _covers(sheet: Sheet, findings: Findings) -> None:
    """Doubt a cover with an unusual word, which is a kind of its own, and one that is the soil itself."""
    words = pd.Series([text.casefold() for text in sheet.frame["cover"]], dtype="str")

    def fix(place: int) -> str:
        likely = COVER_MEANINGS.get(words[place]) or nearest(words[place], COVERS)
        alone = "As it stands it is a cover of its own."
        return f"Write {likely}, if that is what it is. {alone}" if likely else alone

    soils = sheet.frame["soil"].reset_index(drop=True)
    same = ((words != "") & (words == soils)).to_numpy(dtype=bool)
    unusual = ~words.isin(("", *COVERS)).to_numpy(dtype=bool) & ~same
    sheet.report(findings, unusual, "cover", allowed=", ".join(COVERS), fix=fix, severity="doubt")
    doubt_where(sheet, same, "cover", "what lies on top of the soil", "Leave it blank.", findings)


def _class_of_row(sheet: Sheet, place: int) -> StrengthClass | None:
    """Return the strength class that a row names; None when it names none that its soil has."""
    row = sheet.frame.iloc[place]
    soil, word, scheme = str(row["soil"]), str(row["strength"]).casefold(), str(row["strength_scheme"])
    words = STRENGTH_WORDS.get(scheme, ((), ()))[0 if soil in FINE_SOILS else 1]
    return strength_class(soil, word, scheme) if soil not in ("", "rock") and word in words else None


def _against_class(sheet: Sheet, findings: Findings) -> None:
    """Doubt a measured strength or friction angle that the row's own class speaks against."""
    places = range(len(sheet.rows))
    entries = [_class_of_row(sheet, place) for place in places]
    for column, unit in (("undrained_strength_kpa", " kPa"), ("friction_angle_deg", "°")):
        low, high = np.array([_limits(entry, column) for entry in entries], dtype=float).reshape(-1, 2).T
        measured = numbers(sheet, column)
        if column == "undrained_strength_kpa":
            odd = (measured < low / CLASS_STRENGTH_RATIO) | (measured > high * CLASS_STRENGTH_RATIO)
        else:
            odd = (measured < low - CLASS_ANGLE_DEG) | (measured > high + CLASS_ANGLE_DEG)
        words = sheet.frame["strength"]
        spans = [f"{words.iloc[place]} means {low[place]:g} to {high[place]:g}{unit}" for place in places]

        def compare(place: int, spans: list[str] = spans) -> str:
            return f"{spans[place]}. The measured one counts: check it, its unit and the class."

        allowed = "a measure that fits the class in strength"
        sheet.report(findings, odd, column, allowed=allowed, fix=compare, severity="doubt")


def _limits(entry: StrengthClass | None, column: str) -> tuple[float, float]:
    """Return the range of a measure inside a class; NaN where the class is not of that measure."""
    if entry is None or (entry.quantity == column) != (column == "undrained_strength_kpa"):
        return np.nan, np.nan
    if column == "undrained_strength_kpa":
        return entry.low, entry.high
    return entry.friction_angle_low_deg, entry.friction_angle_high_deg


def add_chain_doubts(sheet: Sheet, findings: Findings) -> None:
    """Add a doubt for each rode whose chain is far heavier or lighter than chain of its size."""
    size, mass = numbers(sheet, "chain_mm"), numbers(sheet, "chain_kg_per_m")
    usual = [chain_mass_kg_per_m(each) if each > 0.0 else np.nan for each in size.tolist()]

    def compare(place: int) -> str:
        return (
            f"Chain of {size[place]:.3g} mm mostly has {significant(usual[place])} kg/m: check mass, size "
            "and both units."
        )

    expected = np.array(usual, dtype=float)
    odd = (mass > 0.0) & (np.abs(mass - expected) > CHAIN_MASS_SHARE * expected)
    allowed = "a mass that fits the chain's size"
    sheet.report(findings, odd, "chain_kg_per_m", allowed=allowed, fix=compare, severity="doubt")

"""Doubts about numbers that a pull of a small craft hardly has: a decimal point or a unit gone wrong."""

from collections.abc import Mapping

import numpy as np

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.checks.many_rows import fitting_names, most_of
from holdcast.campaign.columns.known_columns import RODES, TRIALS, Column
from holdcast.campaign.doubts.measures import add_chain_doubts
from holdcast.campaign.files.sheets import Sheet
from holdcast.physics.units import FACTORS
from holdcast.plain_numbers import significant

__all__ = ["MOST", "add_unusual"]

MOST = {
    "scope": 20.0,
    "depth_m": 50.0,
    "bow_height_m": 5.0,
    "chain_kg_per_m": 15.0,
    "speed_mps": 3.0,
    "drag_m": 300.0,
}
"""More than this, in the units kept inside, only asks a person to look (common practice, no source)."""
_FIX = "Check the number, its decimal mark and its unit."


def add_unusual(sheets: Mapping[str, Sheet], findings: Findings) -> None:
    """Add a doubt for each number of trials and rodes above the most that is usual, and for odd chain.

    Excluded rows bring none.

    Parameters
    ----------
    sheets : mapping of str to Sheet
        Sheets by file name.
    findings : Findings
        Doubts are added here.
    """
    if RODES.file in sheets:
        add_chain_doubts(sheets[RODES.file], findings)
    for spec in (TRIALS, RODES):
        if (sheet := sheets.get(spec.file)) is not None:
            for column in spec.columns:
                if column.stored_name in MOST and sheet.has(column.stored_name):
                    _above_usual(sheet, column, findings)
            if sheet.has("rode_length_m") and sheet.has("depth_m"):
                _long_rodes(sheet, findings)


def _above_usual(sheet: Sheet, column: Column, findings: Findings) -> None:
    name, most = column.stored_name, MOST[column.stored_name]
    unit = column.written_names.get(sheet.headers[name].casefold(), "")
    factor = FACTORS[column.quantity][unit] if unit else 1.0
    limit = f"seldom over {significant(most / factor, 2)} {unit.replace('_per_', '/')}".strip()
    values = sheet.frame[name].to_numpy(dtype=float)
    odd = ~sheet.lenient & (values > most)
    if unit and most_of(odd, ~np.isnan(values)):
        names = fitting_names(column, sheet.headers[name], values, lambda each: each <= most)
        fix = "Is the suffix wrong?" + (f" As {names} they would be usual." if names else "")
        what = "numbers larger than usual"
        sheet.report_together(findings, odd, name, what=what, allowed=limit, fix=fix, severity="doubt")
        return
    sheet.report(findings, odd, name, allowed=limit, fix=_FIX, severity="doubt")


def _long_rodes(sheet: Sheet, findings: Findings) -> None:
    """Doubt lengths of rode that make a scope of more than is usual, where the scope is not written."""
    number = {name: sheet.frame[name].to_numpy(dtype=float) for name in ("rode_length_m", "depth_m", "scope")}
    bow = np.nan_to_num(sheet.frame["bow_height_m"].to_numpy(dtype=float))
    scope = number["rode_length_m"] / (number["depth_m"] + bow)
    odd = ~sheet.lenient & (scope > MOST["scope"]) & np.isnan(number["scope"])

    def text(place: int) -> str:
        return f"a rode {significant(float(scope[place]), 2)} times as long as depth and bow height"

    limit = f"seldom over {MOST['scope']:g} times"
    sheet.report(findings, odd, "rode_length_m", allowed=limit, fix=_FIX, found=text, severity="doubt")

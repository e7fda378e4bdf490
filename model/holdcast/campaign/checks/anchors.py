"""Anchors: one row a configuration, its masses and measures checked against each other."""

import numpy as np
import pandas as pd

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.checks.labels import check_unique, check_written_alike
from holdcast.campaign.checks.many_rows import most_of
from holdcast.campaign.files.sheets import Sheet

__all__ = ["anchor_frame", "check_anchors"]

# A scale in small craft reads to 0.1 kg or so and a fraction is written with two decimals
# (common practice, no source).
TIP_FRACTION_TOLERANCE = 0.015

GREATEST_TIP_FRACTION = 0.7
"""More is hardly seen (common practice, no source)."""


def check_anchors(sheet: Sheet, findings: Findings) -> None:
    """Add the faults that show only when an anchor's cells are read together."""
    check_unique(sheet, "anchor", findings)
    check_written_alike(sheet, "design", findings)
    frame = sheet.frame
    mass, tip_load = frame["mass_kg"].to_numpy(dtype=float), frame["tip_load_kg"].to_numpy(dtype=float)
    heavier, share = tip_load > mass * (1 + 1e-9), tip_load / mass
    near = share > GREATEST_TIP_FRACTION
    if heavier.any() and most_of(near, ~np.isnan(share)):
        least, most = share[near].min(), share[near].max()
        what = f"tip loads {least:.2g} to {most:.2g} times the anchors' masses"
        fix = "Is the suffix of one of the two columns wrong? The tip bears a part of the anchor."
        allowed = "at most the anchor's mass"
        sheet.report_together(findings, near, "tip_load_kg", what=what, allowed=allowed, fix=fix)
        return
    sheet.report(
        findings,
        heavier,
        "tip_load_kg",
        allowed="at most the anchor's mass",
        fix="The scale under the tip bears part of the anchor: check both readings and their units.",
    )
    difference = abs(tip_load / mass - frame["tip_fraction"].to_numpy(dtype=float))
    sheet.report(
        findings,
        (difference > TIP_FRACTION_TOLERANCE) & ~heavier,
        "tip_fraction",
        allowed="the tip load over the mass",
        fix=lambda place: (
            f"Tip load over mass is {tip_load[place] / mass[place]:.3f}: correct one, or leave one blank."
        ),
    )


def anchor_frame(sheet: Sheet) -> pd.DataFrame:
    """Return the anchors by label: a blank design is the anchor's own, a tip fraction becomes a tip load."""
    frame = sheet.frame.copy()
    frame["design"] = frame["design"].where(frame["design"] != "", frame["anchor"])
    frame["tip_load_kg"] = frame["tip_load_kg"].fillna(frame["tip_fraction"] * frame["mass_kg"])
    return frame.drop(columns="tip_fraction").set_index("anchor")

"""Doubts about depths and rodes that are hardly of one unit: feet under the suffix of metres."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from holdcast.campaign.checks.many_rows import most_of
from holdcast.campaign.records import Campaign, Finding
from holdcast.physics.units import METRES_PER_FOOT
from holdcast.plain_numbers import significant

__all__ = ["length_doubts"]

Numbers = NDArray[np.float64]

USUAL_SCOPE = (2.5, 12.0)
"""Rode over depth and bow height at which anchors are tested (common practice, no source)."""
ODD_SCOPE = (2.0, 13.0)
"""Below or above which most tests must lie before a person is asked to look (a choice)."""


def length_doubts(campaign: Campaign) -> tuple[Finding, ...]:
    """Return a doubt where most rodes are odd for their depths, and feet for metres would explain it.

    Only tests that the fit uses count, with depth and length written; a scope that is written says nothing of
    units.
    """
    tests = campaign.trials[campaign.trials["status"] == "used"]
    depth, length = (tests[name].to_numpy(dtype=float) for name in ("depth_m", "rode_length_m"))
    bow = tests["bow_height_m"].fillna(campaign.boat.get("bow_height_m", 0.0)).to_numpy(dtype=float)
    scope = length / (depth + bow)
    # The depth is in feet under metres, or the rode is: the same as a depth so many times as large.
    too_short, too_long = scope < ODD_SCOPE[0], scope > ODD_SCOPE[1]
    for odd, feet in ((too_short, METRES_PER_FOOT), (too_long, 1.0 / METRES_PER_FOOT)):
        otherwise = length / (feet * depth + bow)
        usual = odd & (otherwise >= USUAL_SCOPE[0]) & (otherwise <= USUAL_SCOPE[1])
        if most_of(usual, ~np.isnan(scope)):
            return (_doubt(tests.index[usual], scope[usual], otherwise[usual]),)
    return ()


def _doubt(trials: pd.Index, scope: Numbers, otherwise: Numbers) -> Finding:
    return Finding(
        "doubt",
        "trials.csv",
        None,
        "depth",
        f"{len(trials)} tests with a rode of {_from_to(scope)} times depth and bow height",
        f"mostly {USUAL_SCOPE[0]:g} to {USUAL_SCOPE[1]:g} times",
        "Is a suffix wrong, of the depth or of the rode? With one in feet and the other in metres it would "
        f"be {_from_to(otherwise)} times. The angle of pull hangs on it.",
    )


def _from_to(values: Numbers) -> str:
    low, high = (significant(float(end), 2) for end in (values.min(), values.max()))
    return low if low == high else f"{low} to {high}"

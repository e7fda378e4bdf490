"""Whether a request leaves what was tested, in what, and how far."""

import numpy as np
import pandas as pd

from holdcast.answers.draws.known import Known
from holdcast.campaign.records import used_rows
from holdcast.physics.size import AREA_EXPONENT, REFERENCE_MASS_KG
from holdcast.plain_numbers import significant

__all__ = ["largest_tested_mass_kg", "outside_of"]

_SLACK = 1e-9
"""Room for the rounding of a logarithm."""


def outside_of(facts: Known, rows: pd.DataFrame) -> pd.Series:
    """Return in what each request leaves what was tested, over the whole log; blank where it does not.

    Parameters
    ----------
    facts : Known
    rows : DataFrame
        As from :func:`holdcast.answers.predict.requests.complete_requests`.

    Returns
    -------
    Series of str
        Such as "mass 2.5 times the largest tested"; for mass, tip load, area, strength and soil.
    """
    inputs, used = facts.inputs, used_rows(facts.trials, "pull")
    anchors = inputs.sel(anchor=sorted(set(used["anchor"])))
    seabeds = inputs.sel(seabed=sorted(set(used["seabed"])))
    log_mass = np.log(rows["mass_kg"] / REFERENCE_MASS_KG)
    asked = {
        "mass": (log_mass, anchors["log_mass_ratio"]),
        "tip load": (rows["log_tip_load"], anchors["log_tip_load"]),
        "fluke area": (
            rows["log_area_excess"] + AREA_EXPONENT * log_mass,
            anchors["log_area_excess"] + AREA_EXPONENT * anchors["log_mass_ratio"],
        ),
        "strength": (rows["strength_index"], seabeds["strength_index"]),
    }
    told: list[list[str]] = [[] for _ in rows.index]
    for what, (values, tested) in asked.items():
        low, high = float(tested.min()), float(tested.max())
        for words, value in zip(told, values, strict=True):
            if value > high + _SLACK:
                words.append(f"{what} {significant(float(np.exp(value - high)))} times the largest tested")
            elif value < low - _SLACK:
                words.append(f"{what} {significant(float(np.exp(value - low)))} times the smallest tested")
    soils = set(facts.seabeds["soil"].reindex(sorted(set(used["seabed"]))))
    for words, soil in zip(told, rows["soil"], strict=True):
        if soil not in soils:
            words.append(f"{soil} never tested")
    return pd.Series(["; ".join(words) for words in told], index=rows.index, dtype=object)


def largest_tested_mass_kg(facts: Known) -> float:
    """Return the mass of the heaviest anchor with a used pull [kg]."""
    used = used_rows(facts.trials, "pull")
    return float(facts.anchors["mass_kg"].reindex(sorted(set(used["anchor"]))).max())

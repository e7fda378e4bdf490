"""A mass typed ten times too large or too small: what its tip load, area and loads speak for together."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.files.sheets import Sheet
from holdcast.plain_numbers import significant

__all__ = ["add_mass_doubts", "tenfold_masses"]

# Narrower than the limits of a single measure, since two must agree (common practice, no source).
TIP_FRACTION = (0.08, 0.65)
AREA_OVER_MASS = (0.007, 0.045)
"""m²/kg^(2/3); types cluster near 0.013 to 0.022, light twin flukes have twice that (value from memory)."""
LOAD_RATIO = 4.0
"""Load over mass, beside that of the other anchors on the same seabeds."""

Numbers = npt.NDArray[np.float64]


def _load_ratios(anchors: pd.DataFrame, trials: pd.DataFrame) -> Numbers:
    """Return for each anchor its typical load over mass, beside the others' on the same seabeds; else NaN."""
    load = trials["held_n"].where(trials["held_n"] > 0.0).fillna(trials["released_n"]).to_numpy(dtype=float)
    by_anchor = anchors.drop_duplicates("anchor").set_index("anchor")["mass_kg"]
    mass = trials["anchor"].map(by_anchor).to_numpy(dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(np.isfinite(load) & (load > 0.0), np.log(load / mass), np.nan)
    table = pd.DataFrame({"anchor": trials["anchor"], "seabed": trials["seabed"], "log": logs}).dropna()
    if table["anchor"].nunique() < 2:
        return np.full(len(anchors), np.nan)
    cells = table.pivot_table(index="seabed", columns="anchor", values="log", aggfunc="median")
    ratios = {
        anchor: (cells[anchor] - cells.drop(columns=anchor).median(axis=1)).median()
        for anchor in cells.columns
    }
    return np.exp(anchors["anchor"].map(ratios).to_numpy(dtype=float))


def tenfold_masses(anchors: pd.DataFrame, trials: pd.DataFrame) -> Numbers:
    """Return the mass that each anchor seems to have [kg]: a tenth or ten times of what is written, else NaN.

    Parameters
    ----------
    anchors : DataFrame
        Columns anchor, mass_kg, tip_load_kg, fluke_area_m2.
    trials : DataFrame
        Columns anchor, seabed, held_n, released_n of the pulls that count.

    Notes
    -----
    Two of three signs must speak against the mass as written, and none against the other one.
    """
    mass = anchors["mass_kg"].to_numpy(dtype=float)
    ratios = _load_ratios(anchors, trials)
    meant = np.full(len(anchors), np.nan)
    against = _against(anchors, mass, ratios)
    for times in (0.1, 10.0):
        better = (_against(anchors, mass * times, ratios / times) == 0) & (against >= 2)
        meant = np.where(better, mass * times, meant)
    return meant


def _against(anchors: pd.DataFrame, mass: Numbers, ratios: Numbers) -> npt.NDArray[np.int64]:
    """Count the signs against a mass."""
    tip = anchors["tip_load_kg"].to_numpy(dtype=float) / mass
    area = anchors["fluke_area_m2"].to_numpy(dtype=float) / mass ** (2 / 3)
    signs = [(tip, TIP_FRACTION), (area, AREA_OVER_MASS), (ratios, (1.0 / LOAD_RATIO, LOAD_RATIO))]
    return np.sum([(value < low) | (value > high) for value, (low, high) in signs], axis=0)


def add_mass_doubts(anchors: Sheet, trials: Sheet, findings: Findings) -> npt.NDArray[np.bool_]:
    """Add a doubt for each mass that seems ten times off; return the rows of those anchors."""
    pulls = trials.frame[(trials.frame["exclude"] == "") & (trials.frame["test"] == "pull")]
    meant = tenfold_masses(anchors.frame, pulls)
    rows = ~np.isnan(meant) & anchors.sound("mass_kg")

    def fix(place: int) -> str:
        mass = anchors.frame["mass_kg"].iloc[place]
        side = "large" if meant[place] < mass else "small"
        return (
            f"Is it ten times too {side}? Tip load, area and loads would fit {significant(meant[place])} kg."
        )

    allowed = "a mass that fits tip load, area and loads"
    anchors.report(findings, rows, "mass_kg", allowed=allowed, fix=fix, severity="doubt")
    return rows

"""Loads that are hardly of the unit that their columns' names end with."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.checks.many_rows import column_of, fitting_names, most_of
from holdcast.campaign.columns.known_columns import TRIALS
from holdcast.campaign.doubts.sheet_masks import has_word, numbers, outside
from holdcast.campaign.files.sheets import Mask, Sheet
from holdcast.campaign.records import Campaign, pulls_with_load
from holdcast.physics.units import GRAVITY
from holdcast.plain_numbers import significant

__all__ = ["EFFICIENCY", "add_load_doubts", "loads_in_doubt"]

# Wide limits around what has been seen; each only asks a person to look (common practice, no source).
EFFICIENCY = (0.1, 150.0)
USUAL_EFFICIENCY = (1.0, 80.0)
MANY = 10
"""Loads from which on they are one doubt (a choice)."""

Numbers = npt.NDArray[np.float64]


def add_load_doubts(trials: Sheet, mass_kg: pd.Series, findings: Findings) -> None:
    """Doubt loads that are very many or very few times the anchor's weight: one by one, or many at once.

    ``mass_kg`` are masses by anchor, NaN where the mass itself is in doubt.
    """
    own = trials.frame["anchor"].map(mass_kg * GRAVITY).to_numpy(dtype=float)
    counted = has_word(trials, "exclude", "") & trials.sound("exclude")
    counted &= ~(numbers(trials, "released_n") < numbers(trials, "held_n"))  # a fault already
    odd, ratios = {}, {}
    for column in ("held_n", "released_n"):
        load = numbers(trials, column)
        ratios[column] = np.where((load > 0) & counted, load, np.nan) / own
        odd[column] = outside(ratios[column], EFFICIENCY)
    every, judged = np.concatenate(list(odd.values())), ~np.isnan(np.concatenate(list(ratios.values())))
    if most_of(every, judged) or every.sum() >= MANY:
        _suffix_doubt(trials, own, ratios, odd, findings)
        return
    allowed = f"mostly {EFFICIENCY[0]:g} to {EFFICIENCY[1]:g} times the anchor's weight"
    for column, rows in odd.items():

        def compare(place: int, ratio: Numbers = ratios[column]) -> str:
            times = significant(ratio[place])
            return f"This is {times} times the anchor's weight: check load, mass and both units."

        trials.report(findings, rows, column, allowed=allowed, fix=compare, severity="doubt")


def _suffix_doubt(
    trials: Sheet, own: Numbers, ratios: dict[str, Numbers], odd: dict[str, Mask], findings: Findings
) -> None:
    """Doubt the unit of the loads, once for all rows."""
    doubted = np.concatenate([ratio[odd[name]] for name, ratio in ratios.items()])
    low, high = (significant(float(each), 2) for each in np.quantile(doubted, [0.1, 0.9]))
    column = next(name for name, rows in odd.items() if rows.any())
    names = fitting_names(
        column_of(TRIALS, column),
        trials.headers[column],
        ratios[column],
        lambda ratio: ~outside(ratio, USUAL_EFFICIENCY),
    )
    would = f" As {names} the loads would be usual." if names else ""
    trials.report_together(
        findings,
        odd["held_n"] | odd["released_n"],
        column,
        what=f"loads {low} to {high} times the anchors' weight",
        allowed=f"mostly {EFFICIENCY[0]:g} to {EFFICIENCY[1]:g} times",
        fix=f"Is the suffix wrong, of the loads or of the masses?{would}",
        severity="doubt",
    )


def loads_in_doubt(campaign: Campaign) -> bool:
    """Return whether most loads are so far from usual that doubts that lean on them say nothing."""
    pulls = pulls_with_load(campaign.trials)
    weight = pulls["anchor"].map(campaign.anchors["mass_kg"]).to_numpy(dtype=float) * GRAVITY
    released = pulls["released_n"].replace(np.inf, np.nan)
    ratios = pd.concat([pulls["held_n"].where(pulls["held_n"] > 0.0), released]).to_numpy(dtype=float)
    ratio = ratios / np.concatenate([weight, weight])
    return most_of(outside(ratio, EFFICIENCY), ~np.isnan(ratio))

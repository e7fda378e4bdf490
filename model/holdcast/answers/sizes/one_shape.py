"""A design or form at any mass: one shape scaled, and the mass at which it reaches a load."""

import numpy as np
import pandas as pd

from holdcast.answers.draws.anchors import (
    AnchorDraws,
    anchor_effects,
    measurements,
    new_anchor,
    new_configuration,
)
from holdcast.answers.draws.capacity import log_new_pull, log_without_size, size_part
from holdcast.answers.draws.known import Floats, Known, place
from holdcast.answers.draws.seabeds import SeabedDraws
from holdcast.answers.draws.tested_range import largest_tested_mass_kg
from holdcast.campaign.records import used_rows
from holdcast.capacity.inputs.labels import positions

__all__ = [
    "SEARCHED_KG",
    "any_size_of_design",
    "any_size_of_form",
    "log_capacity_at",
    "mass_reaching",
    "new_pull_noise",
    "quantile_of_mass",
    "typical_configuration",
]

SEARCHED_KG = (0.01, 100.0)
"""Masses searched: from 0.01 kg to 100 times the largest tested; beyond that a mass counts as infinite."""
_HALVINGS = 45
"""Halves the searched range, about a factor of e^12, to far below a gram in a kilogram."""


def typical_configuration(facts: Known, design: str) -> pd.DataFrame:
    """Return the anchors of a design's most pulled configuration, all sizes with the same features.

    Raises
    ------
    KeyError
        When the fit has no such design.
    """
    positions([design], list(facts.anchors["design"].unique()), "design")
    family = facts.anchors[facts.anchors["design"] == design]
    flags = [column for column in family if str(column).startswith("flag_")]
    used = used_rows(facts.trials, "pull")
    pulls = used["anchor"].value_counts().reindex(family.index).fillna(0)
    if not flags:
        return family
    groups = [group for _, group in family.groupby(flags, sort=False)]
    return max(groups, key=lambda group: float(pulls[group.index].sum()))


def any_size_of_design(facts: Known, design: str) -> AnchorDraws:
    """Return a design's typical configuration at 1 kg, to be scaled: a size of its own, new to the fit.

    The tip's share of the mass and the shape (area over mass^(2/3)) are the means of its tested sizes, draw
    by
    draw, and are kept at every mass: geometric similarity.  The effect of a configuration is drawn anew, the
    same
    at every mass, so that a curve is one anchor's.
    """
    family = typical_configuration(facts, design)
    at = [place(facts, "anchor", str(label)) for label in family.index]
    log_mass = np.log(family["mass_kg"].to_numpy(dtype=float))
    fraction = facts.draws["anchor_log_tip_load"][:, at] - log_mass
    area = facts.draws["anchor_log_area_excess"][:, at]
    label = f"any size of design {design}"
    return AnchorDraws(
        label,
        1.0,
        fraction.mean(axis=1),
        area.mean(axis=1),
        new_configuration(facts, label),
        anchor_effects(facts, family.iloc[0]),
    )


def any_size_of_form(facts: Known, form: str) -> AnchorDraws:
    """Return a new design of a form without added features, at 1 kg, to be scaled.

    Raises
    ------
    KeyError
        When no anchor of the fit has the form.
    """
    positions([form], facts.labels["form"], "form")
    label = f"any size of a new {form}"
    # Tip share and shape of the form do not depend on the mass they are read at.
    row = pd.Series(
        {"mass_kg": 1.0, "form": form, "tip_load_kg": np.nan, "fluke_area_m2": np.nan, "design": label}
    )
    table = pd.DataFrame([row], index=[label]).astype(
        {"mass_kg": float, "tip_load_kg": float, "fluke_area_m2": float}
    )
    return new_anchor(facts, label, row, measurements(facts, table).iloc[0])


def log_capacity_at(
    facts: Known, anchor: AnchorDraws, seabed: SeabedDraws, mass_kg: Floats, *, base: Floats | None = None
) -> Floats:
    """Return draws of log capacity at masses [log N], shape (mass, sample); `mass_kg` has shape (mass,)."""
    same = log_without_size(facts, anchor, seabed) if base is None else base
    return same + size_part(facts, anchor, seabed, mass_kg[:, None])


def new_pull_noise(facts: Known, anchor: AnchorDraws, seabed: SeabedDraws) -> Floats:
    """Return draws of a new pull's log load over the log capacity, shape (sample,)."""
    return log_new_pull(facts, np.zeros(facts.samples), anchor, seabed)


def mass_reaching(facts: Known, anchor: AnchorDraws, seabed: SeabedDraws, log_load: Floats | float) -> Floats:
    """Return for each draw the mass at which the log capacity reaches a log load [kg], shape (sample,).

    Parameters
    ----------
    facts : Known
    anchor : AnchorDraws
        A shape to be scaled.
    seabed : SeabedDraws
    log_load : number or array, shape (sample,)
        Less a new pull's noise to ask when a new pull reaches the load [log N].

    Returns
    -------
    array, shape (sample,)
        Infinite where no mass searched is enough, the least mass searched where that is too much: capacity
        never
        falls with mass, so a chance of holding is the share of draws whose mass is reached.
    """
    base = log_without_size(facts, anchor, seabed)
    low = np.full(facts.samples, np.log(SEARCHED_KG[0]))
    high = np.full(facts.samples, np.log(SEARCHED_KG[1] * largest_tested_mass_kg(facts)))

    def enough(log_mass: Floats) -> Floats:
        return base + size_part(facts, anchor, seabed, np.exp(log_mass)) - log_load

    never = enough(high) < 0.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        reached = enough(middle) >= 0.0
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    return np.where(never, np.inf, np.exp(high))


def quantile_of_mass(masses: Floats, probability: float | list[float]) -> Floats:
    """Return quantiles of masses that may be infinite [kg]; of two neighbours the heavier, the safe side."""
    return np.asarray(np.quantile(masses, probability, method="higher"), dtype=float)

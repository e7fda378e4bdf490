"""A design or form at any mass: one shape scaled, and the mass at which it reaches a load."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from holdcast.answers.draws.anchors import (
    AnchorDraws,
    anchor_effects,
    labels_of,
    measurements,
    new_anchor,
    new_configuration,
)
from holdcast.answers.draws.capacity import log_without_size, size_part
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.seabeds import SeabedDraws
from holdcast.answers.draws.tested_range import largest_tested_mass_kg, tested_masses_kg
from holdcast.capacity.inputs.labels import positions
from holdcast.physics.roots import root_between

__all__ = [
    "SEARCHED_KG",
    "any_size_of_design",
    "any_size_of_form",
    "log_capacity_at",
    "mass_reaching",
    "most_searched_kg",
    "quantile_of_mass",
    "shapes_and_limits",
    "typical_configuration",
]

SEARCHED_KG = (0.01, 100.0)
"""Masses searched: from 0.01 kg to 100 times the largest tested; beyond that a mass counts as infinite."""


def typical_configuration(draws: Draws, design: str) -> pd.DataFrame:
    """Return the anchors of a design's most pulled configuration, all sizes with the same features.

    Raises
    ------
    KeyError
        When the fit has no such design.
    """
    positions([design], list(draws.anchors["design"].unique()), "design")
    family = draws.anchors[draws.anchors["design"] == design]
    flags = [column for column in family if str(column).startswith("flag_")]
    anchors = draws.labels("anchor")
    pulls = pd.Series(np.bincount(draws.inputs["anchor_of"], minlength=len(anchors)), anchors)
    # Sizes of one shape are measured a degree or two apart; a fluke set for mud stands a whole step apart.
    steps = draws.inputs["fluke_angle_steps"].to_series()[family.index]
    steeper = (steps - steps.min()).round().rename("steeper")
    groups = [group for _, group in family.groupby([*flags, steeper], sort=False)]
    return max(groups, key=lambda group: float(pulls[group.index].sum()))


def any_size_of_design(draws: Draws, design: str) -> AnchorDraws:
    """Return a design's typical configuration at 1 kg, to be scaled: a size of its own, new to the fit.

    The tip's share of the mass and the shape (area over mass^(2/3)) are the means of its tested sizes, draw
    by
    draw, and are kept at every mass: geometric similarity.  The effect of a configuration is drawn anew, the
    same at every mass, so that a curve is one anchor's.
    """
    return draws.once(
        f"any size of {design}, seed {draws.seed}",
        lambda: _any_size_of(draws, design, typical_configuration(draws, design)),
    )


def _any_size_of(draws: Draws, design: str, family: pd.DataFrame) -> AnchorDraws:
    at = [draws.place("anchor", str(label)) for label in family.index]
    log_mass = np.log(family["mass_kg"].to_numpy(dtype=float))
    fraction = draws["anchor_log_tip_load"][:, at] - log_mass
    area = draws["anchor_log_area_excess"][:, at]
    label = f"any size of design {design}"
    return AnchorDraws(
        label,
        1.0,
        fraction.mean(axis=1),
        area.mean(axis=1),
        float(draws.inputs["fluke_angle_steps"][at].mean()),
        new_configuration(draws, label),
        anchor_effects(draws, family.iloc[0]),
        *labels_of(family.iloc[0]),
    )


def any_size_of_form(draws: Draws, form: str) -> AnchorDraws:
    """Return a new design of a form without added features, at 1 kg, to be scaled.

    Raises
    ------
    KeyError
        When no anchor of the fit has the form.
    """
    positions([form], draws.labels("form"), "form")
    label = f"any size of a new {form}"
    # Tip share and shape of the form do not depend on the mass they are read at.
    row = pd.Series(
        {
            "mass_kg": 1.0,
            "form": form,
            **dict.fromkeys(("tip_load_kg", "fluke_area_m2", "fluke_angle_deg"), np.nan),
            "design": label,
        }
    )
    table = pd.DataFrame([row], index=[label]).astype(
        dict.fromkeys(("mass_kg", "tip_load_kg", "fluke_area_m2", "fluke_angle_deg"), float)
    )
    return new_anchor(draws, label, row, measurements(draws, table).iloc[0])


def shapes_and_limits(
    draws: Draws, designs: Sequence[str] | None, forms: Sequence[str]
) -> tuple[dict[str, AnchorDraws], list[tuple[float, float]]]:
    """Return the shapes by name, and the smallest and largest tested mass behind each [kg].

    Parameters
    ----------
    draws : Draws
    designs : sequence of str, optional
        All where no form is named either.
    forms : sequence of str

    Raises
    ------
    KeyError
        For an unknown design or form.
    """
    names = (
        list(dict.fromkeys(draws.anchors["design"])) if designs is None and not forms else list(designs or ())
    )
    shapes, limits = {}, []
    for design in names:
        family = typical_configuration(draws, design)
        shapes[design] = _any_size_of(draws, design, family)
        limits.append(_limits(draws, "design", design, family))
    for form in forms:
        shapes[f"any {form}"] = any_size_of_form(draws, form)
        limits.append(_limits(draws, "form", form, draws.anchors[draws.anchors["form"] == form]))
    return shapes, limits


def _limits(draws: Draws, column: str, label: str, listed: pd.DataFrame) -> tuple[float, float]:
    """Return smallest and largest mass of the tested anchors; of the listed ones when none was tested."""
    tested = tested_masses_kg(draws, column, label)
    return (float(listed["mass_kg"].min()), float(listed["mass_kg"].max())) if np.isnan(tested[0]) else tested


def log_capacity_at(
    draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws, mass_kg: Floats, *, base: Floats | None = None
) -> Floats:
    """Return draws of log capacity at masses [log N], shape (mass, sample); `mass_kg` has shape (mass,)."""
    same = log_without_size(draws, anchor, seabed) if base is None else base
    return same + size_part(draws, anchor, seabed, mass_kg[:, None])


def mass_reaching(draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws, log_load: Floats | float) -> Floats:
    """Return for each draw the mass at which the log capacity reaches a log load [kg], shape (sample,).

    Parameters
    ----------
    draws : Draws
    anchor : AnchorDraws
        A shape to be scaled.
    seabed : SeabedDraws
    log_load : number or array, shape (sample,)
        For a pull along the bottom [log N].

    Returns
    -------
    array, shape (sample,)
        Infinite where no mass searched is enough, the least mass searched where that is too much: capacity
        never falls with mass, so a chance of holding is the share of draws whose mass is reached.
    """
    short: Floats = log_without_size(draws, anchor, seabed) - log_load

    def excess(log_mass: Floats, sample: Floats) -> Floats:
        at = sample.astype(int)
        return np.asarray(short[at] + size_part(draws, anchor, seabed, np.exp(log_mass), at))

    return np.exp(_log_mass(draws, excess, np.arange(draws.samples)))


def _log_mass(draws: Draws, excess: Callable[[Floats, Any], Floats], each: NDArray[Any]) -> Floats:
    """Return where a rising function of log mass is 0, one for each of its second argument."""
    low, high = np.log([SEARCHED_KG[0], most_searched_kg(draws)])
    at_low, at_high = (excess(np.full(each.shape, end), each) for end in (low, high))
    root = root_between(excess, low, high, (each,))
    return np.asarray(np.select([at_low >= 0.0, at_high < 0.0], [low, np.inf], root))


def most_searched_kg(draws: Draws) -> float:
    """Return the heaviest mass searched [kg]; beyond it a mass counts as infinite."""
    return SEARCHED_KG[1] * largest_tested_mass_kg(draws)


def quantile_of_mass(masses: Floats, probability: float | list[float]) -> Floats:
    """Return quantiles of masses that may be infinite [kg]; of two neighbours the heavier, the safe side."""
    return np.asarray(np.quantile(masses, probability, method="higher"), dtype=float)

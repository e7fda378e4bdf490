"""Each column of each table that the commands write: its kind, its unit, and what it means."""

from collections.abc import Mapping
from typing import NamedTuple

__all__ = ["KEYS", "TABLES", "Column"]


class Column(NamedTuple):
    """One column.

    Attributes
    ----------
    kind : ``number``, ``integer``, ``string`` or ``boolean`` (written yes and no).
    words : what it means.
    unit : ``1`` for a plain number; blank for words.
    """

    kind: str
    words: str
    unit: str = ""


_FIVE = {"q05": "5%", "q25": "25%", "q50": "middle", "q75": "75%", "q95": "95%"}
_THREE = {name: _FIVE[name] for name in ("q05", "q50", "q95")}
_ENDS = {name: _FIVE[name] for name in ("q05", "q95")}


def _bands(
    name: str, words: str, unit: str, parts: Mapping[str, str] = _THREE, *, of: str = "its draws"
) -> dict[str, Column]:
    """Return the columns of a band: 90% lie between q05 and q95."""
    return {
        f"{name}_{part}": Column(
            "number", f"{words}: {end} of {of}{'' if end == 'middle' else ' lie below'}", unit
        )
        for part, end in parts.items()
    }


def _text(words: str) -> Column:
    return Column("string", words)


def _count(words: str) -> Column:
    return Column("integer", words, "1")


def _number(words: str, unit: str = "1") -> Column:
    return Column("number", words, unit)


def _yes(words: str) -> Column:
    return Column("boolean", words)


_ANCHOR = {"anchor": _text("anchor, as named in anchors.csv")}
_DESIGN = {"design": _text("design, as named in anchors.csv")}
_SEABED = {"seabed": _text("seabed, as named in seabeds.csv")}
_TRIAL = {"trial": _text("trial, as named in trials.csv")}
_TESTED = {"evidence": _text("tested or untested: whether any pull of this anchor in this seabed counts")}
_RANGE = {"range": _text("inside or outside of the masses, areas, tip loads and grounds that were tested")}
_PART_CHANGES = {
    name: column
    for quantity, words in (
        ("sets", "chance of setting"),
        ("resets", "chance of setting again"),
        ("veer_kept", "share of the capacity kept in a turn"),
    )
    for name, column in {
        **_bands(f"{quantity}_change", f"what the part adds to the {words}", "1"),
        f"{quantity}_p_gain": _number(f"chance that the part adds to the {words}"),
        f"{quantity}_pairs_tested": _count(f"pairs of configurations, tested for the {words}"),
        f"{quantity}_contraction": _number("1 less the ratio of the variances after and before the data"),
    }.items()
}
_CELLS = {
    **_ANCHOR,
    **_DESIGN,
    **_SEABED,
    **_TESTED,
    "pulls": _count("pulls that count"),
    "visits": _count("visits on which they were made"),
    **_bands("capacity_n", "holding capacity, once it has set", "N", _FIVE),
    **_bands("efficiency", "that capacity over the anchor's weight", "1", _FIVE),
    **_bands("new_pull_n", "load of one new pull, that may not set", "N", of="such pulls"),
    "own_data": _number("1 less the ratio of the band's width with and without the cell's own pulls"),
    **_RANGE,
    "above_threshold": _number("chance that a new pull exceeds the tester's threshold"),
    "bounded": _text("which end of the band the pulls bound: a cell in which none let go is told at least"),
    **_bands("sets", "chance that a pull sets", "1"),
    **_bands("resets", "chance that it sets again after a reversal", "1"),
    **_bands("veer_kept", "share of the capacity that is kept in a half turn", "1"),
    "reset_attempts": _count("reversals in the log"),
    "veers": _count("turns under load in the log"),
    "update_holds": _yes("whether the update by new trials may be trusted in this cell"),
}
_RANKING = {
    "over": _text("seabed: within one; or over several, by the weights asked for"),
    **_SEABED,
    "form": _text("generic form of the anchor"),
    **_ANCHOR,
    **_DESIGN,
    "measure": _text("what is ranked"),
    **_TESTED,
    **_bands("rank", "place, 1 for the best", "1"),
    "p_best": _number("chance of being the best"),
    "p_best_three": _number("chance of being among the best three"),
    "surely_beats": _count("anchors that it beats in at least 95% of the draws"),
    "surely_beaten_by": _count("anchors that beat it in at least 95% of the draws"),
    "groups": _text("letters; anchors that share one cannot be told apart"),
    "efficiency": _number("efficiency asked for in every seabed"),
    "p_every": _number("chance that it exceeds that efficiency in every seabed"),
}
_FEATURES = {
    "kind": _text("feature, or which other effect"),
    "effect": _text("its name"),
    **_SEABED,
    **_bands("factor", "capacity with it over capacity without", "1", _FIVE),
    "p_gain": _number("chance that it adds to the capacity"),
    "p_change_over_10pct": _number("chance that it changes the capacity by more than a tenth"),
    "pairs": _count("pairs of configurations that differ by it"),
    "pairs_tested": _count("of those, tested in this seabed"),
    "basis": _text("what it rests on"),
    "contraction": _number("1 less the ratio of the variances after and before the data"),
    "prior_shift": _number("move of the mean by the data, in standard deviations before them"),
    **_PART_CHANGES,
}
_SIZES = {
    "shape": _text("design, in one configuration"),
    **_SEABED,
    "mass_kg": _number("mass", "kg"),
    **_bands("capacity_n", "holding capacity, once it has set", "N", _FIVE),
    **_bands("exponent", "power of mass by which the capacity grows there", "1", _FIVE),
    "times_largest": _number("mass over the largest tested one"),
    "times_smallest": _number("mass over the smallest tested one"),
    **_RANGE,
    **_TESTED,
}
_SIZES_LOAD = {
    "shape": _text("design, in one configuration"),
    **_SEABED,
    "chance": _number("chance asked for"),
    "mass_new_pull_kg": _number("mass of which one new pull holds the load with that chance", "kg"),
    "times_largest_new_pull": _number("that mass over the largest tested one"),
    "load_n": _number("the load", "N"),
}
_BOAT = {
    **_ANCHOR,
    **_SEABED,
    **_TESTED,
    "wind_mps": _number("wind", "m/s"),
    "load_n": _number("load at the anchor in that wind", "N"),
    "exceeds": _number("chance that one new pull holds that load"),
    "holds_wind_mps": _number(
        "steady wind whose load one new pull holds with the chance asked for; no safe wind", "m/s"
    ),
    "margin_mps": _number("that wind less the wind asked about", "m/s"),
    **_bands("capacity_n", "holding capacity, once it has set", "N"),
}
_BOAT_LIGHTEST = {
    **_DESIGN,
    **_SEABED,
    "tested_anchor": _text("lightest tested anchor of the design that holds; blank: none does"),
    "scaled_kg": _number("mass of the design that would hold, carried over from the tested ones", "kg"),
    "times_largest": _number("that mass over the largest tested one"),
}
_PULLS_TO_CHECK = {
    "trials": _text("trials, as named in trials.csv"),
    **_ANCHOR,
    **_SEABED,
    "held_n": _number("load that was held", "N"),
    "released_n": _number("load at which it let go", "N"),
    **_bands("expected_n", "what the other pulls expect of it", "N", _ENDS, of="such pulls"),
    "reason": _text("why to look at it"),
    "advice": _text("repeat, correct or keep"),
}
_PLAN = {
    "order": _count("place in the order of travel"),
    **_SEABED,
    **_ANCHOR,
    "pulls": _count("pulls to make"),
    "hours": _number("travel, setting up and pulls", "h"),
    "narrows": _number("share of what is in doubt that it is expected to take away"),
    "because": _text("why"),
}
_SURPRISE = {
    **_TRIAL,
    **_ANCHOR,
    **_SEABED,
    **_bands("expected_n", "what was expected of it before it was seen, as read", "N", of="such pulls"),
    "tail": _number("chance, before it was seen, of a reading as far out or further"),
    "repeat": _yes("whether it is worth making again"),
}
_RESIDUALS = {
    **_TRIAL,
    "test": _text("pull, reset or veer"),
    **_ANCHOR,
    **_DESIGN,
    **_SEABED,
    "visit": _text("visit"),
    "load_known": _text("how much of the load is known"),
    "expected_n": _number("middle of what is expected of it when it is left out", "N"),
    "chance": _number("chance of setting, or of success, expected when it is left out"),
    "pit_low": _number("chance expected of less than was read; its least"),
    "pit_high": _number("chance expected of less than was read; its most"),
    "residual": _number("one draw between the two as a standard normal"),
    "mean_residual": _number("mean of all such draws"),
    "mean_residual_new_visit": _number("the same, against what is expected on a new visit"),
    "mean_residual_new_design": _number("the same, against what is expected of a new design"),
    "pareto_k": _number("Pareto k of leaving it out without a refit; above 0.7 it cannot be trusted"),
    "left_out": _yes("whether leaving it out without a refit can be trusted"),
    "attempts": _count("reversals"),
    "successes": _count("reversals after which it set again"),
}
_CRITICISM = {
    "check": _text("what was looked at"),
    "about": _text("of what"),
    "prediction": _text("what was left out"),
    "pulls": _count("pulls looked at"),
    "clusters": _count("groups in which they hang together"),
    "value": _number("what was seen; the note says of which kind"),
    "value_low": _number("its lower end"),
    "value_high": _number("its upper end"),
    "expected": _number("what the model expects"),
    "factor": _number("the same on the load: 1 is none"),
    "factor_low": _number("its lower end"),
    "factor_high": _number("its upper end"),
    "p_value": _number("chance of so much or more if the model is right"),
    "p_adjusted": _number("the same, all looks counted"),
    "shown": _yes("whether the look shows something, all looks counted"),
    "error": _number("standard error of a compared model's score"),
    "weight": _number("weight of a compared model"),
    "high_k": _number("pulls whose leaving out cannot be trusted without a refit"),
    "note": _text("what value is"),
}
TABLES: Mapping[str, Mapping[str, Column]] = {
    "cells.csv": _CELLS,
    "excluded.csv": {**_TRIAL, "reason": _text("why it does not count")},
    "pulls_to_check.csv": _PULLS_TO_CHECK,
    "ranking.csv": _RANKING,
    "features.csv": _FEATURES,
    "sizes.csv": _SIZES,
    "sizes_load.csv": _SIZES_LOAD,
    "boat.csv": _BOAT,
    "boat_lightest.csv": _BOAT_LIGHTEST,
    "plan.csv": _PLAN,
    "residuals.csv": _RESIDUALS,
    "criticism.csv": _CRITICISM,
    "added/cells.csv": _CELLS,
    "added/surprise.csv": _SURPRISE,
}
"""Columns by the table's name within the results folder."""
KEYS: Mapping[str, tuple[str, ...]] = {
    "cells.csv": ("anchor", "seabed"),
    "excluded.csv": ("trial",),
    "boat_lightest.csv": ("design", "seabed"),
    "plan.csv": ("order",),
    "residuals.csv": ("trial",),
    "added/cells.csv": ("anchor", "seabed"),
    "added/surprise.csv": ("trial",),
}
"""Columns that no two rows share, of the tables that have such."""

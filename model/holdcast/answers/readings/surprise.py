"""How far out each new test lies among what was expected of it, before any of them was seen.

A pull as :mod:`holdcast.answers.readings.tail` says, on a new visit, as read with the rode it was made on.
A load read while the anchor dragged is brought to rest first, with the middle of the draws' rate.  A reset:
twice the chance of as few successes or fewer, or of as many or more.  A veer: as a pull of an anchor that
set, what the turn takes being taken off; where it let go on the way, the angle may lie up to 15 degrees
further on.
"""

from dataclasses import astuple
from functools import cache, cached_property

import numpy as np
import pandas as pd
import xarray as xr
from scipy.special import expit, roots_hermitenorm, stdtr

from holdcast.answers.draws.anchors import known_anchor
from holdcast.answers.draws.bands import BAND_90
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.new_pull import new_pull, visit_and_spot
from holdcast.answers.draws.rode import Geometry
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.answers.readings.expected import PulledFrom, level_probabilities, levels_at, levels_n
from holdcast.answers.readings.reset_counts import count_tail
from holdcast.answers.readings.tail import REPEAT_BELOW, chance_up_to, tail_probability
from holdcast.answers.readings.turned import turned
from holdcast.capacity.likelihood.kinds import DEGREES_OF_FREEDOM
from holdcast.physics.ground.rate import log_rate_factor
from holdcast.physics.rode.make_up import Rode

__all__ = ["COLUMNS", "surprise"]

COLUMNS = (
    *("trial", "anchor", "seabed"),
    *(f"expected_n_q{round(100 * at):02d}" for at in BAND_90),
    *("tail", "repeat"),
)
_NODES = 9
"""Of visit and spot together, for a reset."""
_MOST_DRAWS = 500
"""Draws that a reset is judged by."""


def surprise(
    draws: Draws, inputs: xr.Dataset, rows: pd.DataFrame, rodes: dict[str, Rode | None]
) -> pd.DataFrame:
    """Return what was expected of each new test that counts, and how far out it lies.

    Parameters
    ----------
    draws : Draws
        Of the fit, before the tests were known.
    inputs : Dataset
        Of the log with the new tests, see :func:`holdcast.capacity.inputs.new_tests.lay_out_with`.
    rows : DataFrame, index trial
        The new tests, as ``Campaign.trials``.
    rodes : mapping
        Rode of each test; None where it is not known.

    Returns
    -------
    DataFrame
        `COLUMNS`: ``expected_n`` [N] is blank for a reset; ``tail`` [1], blank where the fit has nothing to
        judge by (no reset or veer in its log, or a pull that says nothing).
    """
    table = []
    # Pulls of one anchor in one seabed on one rode have the same levels, which take long to find.
    new_pulls: dict[tuple[object, ...], _Expected] = {}
    for label, row in rows[rows["status"] == "used"].iterrows():
        trial = str(label)
        if row["test"] == "reset":
            expected, tail = np.full(len(BAND_90), np.nan), _tail_of_reset(draws, inputs, trial)
        else:
            key = (row["anchor"], row["seabed"], row["load_at"], _measures(rodes[trial]))
            if key not in new_pulls:
                new_pulls[key] = _Expected(draws, row, rodes[trial])
            expected, tail = _of_load(draws, inputs, row, trial, new_pulls[key])
        repeat = "yes" if tail < REPEAT_BELOW else "" if np.isnan(tail) else "no"
        table.append((trial, row["anchor"], row["seabed"], *expected, tail, repeat))
    return pd.DataFrame(table, columns=list(COLUMNS))


class _Expected:
    """What is expected of a new pull of a row's anchor in its seabed, on its rode."""

    def __init__(self, draws: Draws, row: pd.Series, rode: Rode | None) -> None:
        scope = np.nan if rode is None else float((rode.chain_length_m + rode.rope_length_m) / rode.height_m)
        self.pulled = PulledFrom(Geometry(scope, rode, ""), "anchor" if row["load_at"] == "anchor" else "bow")
        seabed = known_seabed(draws, str(row["seabed"]))
        self.pull = new_pull(draws, [known_anchor(draws, str(row["anchor"]))], seabed, self.pulled.geometry)

    @cached_property
    def levels(self) -> Floats:
        """Readings that stay unreached with each of the levels' probabilities [N], shape (level,)."""
        return np.asarray(levels_n(self.pull, self.pulled)[0])


def _measures(rode: Rode | None) -> tuple[float, ...] | None:
    return None if rode is None else tuple(map(float, astuple(rode)))


def _of_load(
    draws: Draws, inputs: xr.Dataset, row: pd.Series, trial: str, new: _Expected
) -> tuple[Floats, float]:
    """Return the expected reading of a pull or veer [N], and its tail."""
    released = _at_rest(draws, row)
    exact = row["held_n"] == row["released_n"]
    held = released if exact else float(row["held_n"])
    if row["test"] == "veer":
        return _of_veer(draws, inputs, trial, new, (held, released), row)
    if held <= 0.0 and np.isinf(released):
        tail = 1.0 - float(new.pull.sets.mean()) if row["set"] == "no" else np.nan
    else:
        tail = float(tail_probability(held, max(held, released), new.levels, level_probabilities()))
    return levels_at(new.levels, BAND_90), tail


def _at_rest(draws: Draws, row: pd.Series) -> float:
    """Return the load at which it let go, brought to rest where the drag speed is known [N]."""
    speed, released = float(row["speed_mps"]), float(row["released_n"])
    if np.isnan(speed) or np.isinf(released):
        return released
    soil = int(draws.inputs["soil_of"].to_numpy()[draws.place("seabed", str(row["seabed"]))])
    rate = float(np.median(draws["rate_per_decade"][:, soil]))
    return released / float(np.exp(log_rate_factor(speed, rate)))


def _of_veer(
    draws: Draws,
    inputs: xr.Dataset,
    trial: str,
    new: _Expected,
    loads_n: tuple[float, float],
    row: pd.Series,
) -> tuple[Floats, float]:
    if "turn" not in draws or trial not in inputs["veer"].to_numpy():
        return np.full(len(BAND_90), np.nan), np.nan
    cell = draws.place("anchor", str(row["anchor"])), draws.place("seabed", str(row["seabed"]))
    turn = draws["turn"][:, *cell][None]

    @cache  # a turn that was held ends at one angle
    def levels(degrees: float) -> Floats:
        return np.asarray(levels_n(turned(new.pull, turn, degrees), new.pulled)[0])

    # The log's table counts in quarter turns.
    ends = 90.0 * inputs[["turn_lower", "turn_upper"]].sel(veer=trial)
    held, released = loads_n
    let_go = float(row["veer_held_deg"]) < float(row["veer_deg"])
    probabilities = level_probabilities()
    at_least = 1.0 - float(chance_up_to(held, levels(float(ends["turn_lower"])), probabilities))
    upper = held if let_go else released
    at_most = (
        1.0
        if np.isinf(upper)
        else float(chance_up_to(upper, levels(float(ends["turn_upper"])), probabilities))
    )
    return levels_at(levels(float(row["veer_deg"])), BAND_90), min(1.0, 2.0 * min(at_least, at_most))


def _tail_of_reset(draws: Draws, inputs: xr.Dataset, trial: str) -> float:
    if "resets_log_odds" not in draws:
        return np.nan
    row = inputs.sel(reset=trial)
    every = slice(None, None, max(1, draws.samples // _MOST_DRAWS))
    anchor, seabed = int(row["reset_anchor"]), int(row["reset_seabed"])
    share = float(row["reversal"])
    odds = (1.0 - share) * draws["sets_log_odds"][every, anchor, seabed]
    odds = odds + share * draws["resets_log_odds"][every, anchor, seabed]
    nodes, weights = roots_hermitenorm(_NODES)
    chance = np.broadcast_to(expit(odds), (_NODES, len(odds)))
    if int(row["reset_judged"]):
        needed = float(row["reset_held"]) + draws["strength_of_fall"][every] * float(row["reset_fall"])
        location = (
            draws["log_capacity"][every, anchor, seabed] + visit_and_spot(draws)[every] * nodes[:, None]
        )
        scatter = draws["pull_scatter"][every, seabed]
        chance = chance * stdtr(DEGREES_OF_FREEDOM, (location - needed) / scatter)
    weight = np.broadcast_to(weights[:, None] / (weights.sum() * len(odds)), chance.shape)
    return count_tail(
        int(row["attempts"]), int(row["successes"]), chance, draws["set_concentration"][every], weight
    )

"""What the day page's script is given: the campaign's names, the plan, and a table of expected readings."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import NamedTuple, Protocol

import numpy as np
import xarray as xr
from scipy.special import logit

from holdcast.physics.units import FACTORS
from holdcast.show.day.packing import packed_levels
from holdcast.show.report.page_data import quantised

__all__ = [
    "FORCES",
    "LENGTHS",
    "DayFacts",
    "PlannedTest",
    "check_day",
    "day_data",
    "load_text",
    "readings_at",
]

_WORDS = {
    "force": {"n": "N", "kn": "kN", "kgf": "kgf", "lbf": "lbf"},
    "length": {"m": "m", "ft": "ft"},
}
FORCES, LENGTHS = (
    {unit: (word, FACTORS[quantity][unit]) for unit, word in words.items()}
    for quantity, words in _WORDS.items()
)
"""How a unit at the end of a column's name reads, and its size [N] or [m]."""


class PlannedTest(Protocol):
    """The pulls of one anchor in one seabed, as a plan gives them."""

    @property
    def order(self) -> int:
        """Place in the order of travel."""

    @property
    def seabed(self) -> str:
        """Label of the campaign."""

    @property
    def anchor(self) -> str:
        """Label of the campaign."""

    @property
    def pulls(self) -> int:
        """How many to make."""

    @property
    def hours(self) -> float:
        """Travel, setting up and pulls [h]."""

    @property
    def because(self) -> str:
        """Why, in one sentence."""


class DayFacts(NamedTuple):
    """What the page says of the campaign, beside its plan and the expected readings.

    Attributes
    ----------
    title : str
        The campaign's.
    limits : mapping
        What the campaign's reader allows of each number, as from
        ``holdcast.campaign.columns.typed_numbers``, in the units below.
    force_unit, length_unit : str
        In which loads and lengths are typed, shown and saved: the last part of a column's name of
        trials.csv, such as ``kn`` or ``lbf``; ``m`` or ``ft``.
    trials : sequence of str
        Ids that the campaign has already; the page gives out others.
    rodes, instruments : sequence of str
        Names to choose from; empty when the campaign has none.
    rode : str
        The rode for which the readings are expected; blank: weight and shape were not counted.
    chain : (float, float) or None
        Of a rode without a name: mass per length [kg/m] and length [m], written into every row.
    scope : float or None
        Likewise, rode length over depth plus bow height [1]; None: along the bottom.
    notices : sequence of str
        What must be read first, such as that the fit was a quick one or its verdict bad.
    load_at : {"bow", "anchor"}
        Where the load cell sits, and for where the readings are expected.
    provenance : str
        Version, seed and hash of the log behind the expectations.
    """

    title: str
    limits: Mapping[str, Mapping[str, bool | float | None]]
    force_unit: str = "kn"
    length_unit: str = "m"
    trials: Sequence[str] = ()
    rodes: Sequence[str] = ()
    instruments: Sequence[str] = ()
    rode: str = ""
    chain: tuple[float, float] | None = None
    scope: float | None = None
    notices: Sequence[str] = ()
    load_at: str = "bow"
    provenance: str = ""


def check_day(planned: Sequence[PlannedTest], expected: xr.Dataset, facts: DayFacts) -> None:
    """Refuse what would make a page of wrong numbers.

    Parameters
    ----------
    planned : sequence of PlannedTest
    expected : Dataset
        As from ``holdcast.answers.readings.expected_readings``: ``reading_n[anchor, seabed, level]`` [N] and
        ``sets[anchor, seabed]`` [1]; where the log tells of them ``resets`` and ``veer_kept`` likewise, and
        ``reset_chance`` and ``reset_concentration`` [anchor, seabed, group], ``turned_n`` [anchor, seabed,
        turn, turn_level] and ``turned_least_n`` [anchor, seabed], as from
        ``holdcast.answers.page.day_readings``.
    facts : DayFacts

    Raises
    ------
    ValueError
        When there is no test, a unit is unknown, or the table of readings is no rising table of numbers.
    KeyError
        When the plan names an anchor or seabed that the table of readings lacks.
    """
    if not planned:
        raise ValueError("the plan holds no test: no page was written")
    for quantity, unit, units in (
        ("force", facts.force_unit, FORCES),
        ("length", facts.length_unit, LENGTHS),
    ):
        if unit not in units:
            raise ValueError(f"unknown unit of {quantity} {unit!r}; known: {', '.join(units)}")
    used = {"anchor": {test.anchor for test in planned}, "seabed": {test.seabed for test in planned}}
    for label, labels in used.items():
        names = set(expected[label].to_numpy().tolist())
        if unknown := sorted(labels - names):
            raise KeyError(f"unknown {label} {', '.join(unknown)}; known: {', '.join(sorted(names))}")
    _check_levels(expected["reading_n"], "level")
    if "turned_n" in expected:
        _check_levels(expected["turned_n"], "turn_level")
    sets = expected["sets"].to_numpy()
    if not np.all((sets >= 0) & (sets <= 1)):
        raise ValueError("chances of digging in must be between 0 and 1")


def _check_levels(readings: xr.DataArray, name: str) -> None:
    level, loads = readings[name].to_numpy(), readings.transpose(name, ...).to_numpy()
    if not (np.all(np.diff(level) > 0) and level[0] > 0 and level[-1] < 1):
        raise ValueError("levels must rise between 0 and 1")
    if not (np.all(np.isfinite(loads)) and np.all(loads > 0) and np.all(np.diff(loads, axis=0) >= 0)):
        raise ValueError("expected readings must be finite numbers above 0 that rise with their level")


def readings_at(expected: xr.Dataset, anchor: str, seabed: str, levels: Sequence[float]) -> list[float]:
    """Return the readings [N] of one anchor in one seabed that stay unreached with some chances.

    Between the levels of the table by lines between log reading and logit, as everywhere.

    Raises
    ------
    KeyError
        When the table has no such anchor or seabed.
    """
    logs = np.log(expected["reading_n"].sel(anchor=anchor, seabed=seabed).to_numpy())
    return [
        float(load) for load in np.exp(np.interp(logit(levels), logit(expected["level"].to_numpy()), logs))
    ]


def load_text(newtons: float, unit: str) -> str:
    """Return a load in a unit of trials.csv, to three digits and no finer than a hundredth.

    The script writes loads by the same rule (``loadText``).

    Raises
    ------
    KeyError
        When there is no such unit.
    """
    value = float(f"{newtons / FORCES[unit][1]:.2e}")
    return f"{value:.{2 if value < 10 else 1 if value < 100 else 0}f}"


def day_data(planned: Sequence[PlannedTest], expected: xr.Dataset, facts: DayFacts) -> Mapping[str, object]:
    """Return what the script reads; see :func:`check_day` for the arguments."""
    logs = np.log(expected["reading_n"].transpose("level", "anchor", "seabed").to_numpy())
    anchors = [str(name) for name in expected["anchor"].to_numpy()]
    seabeds = [str(name) for name in expected["seabed"].to_numpy()]
    return {
        "key": _page_key(facts.title, anchors, seabeds),
        "anchors": anchors,
        "seabeds": seabeds,
        "plan": [{"anchor": test.anchor, "seabed": test.seabed, "pulls": test.pulls} for test in planned],
        "odds": [float(f"{odds:.9g}") for odds in logit(expected["level"].to_numpy())],
        "readings": packed_levels(logs),
        "sets": _shares(expected, "sets"),
        "resets": _shares(expected, "resets"),
        "veer_kept": _shares(expected, "veer_kept"),
        **_reset_groups(expected),
        **_turns(expected),
        "force": _unit(facts.force_unit, FORCES),
        "length": _unit(facts.length_unit, LENGTHS),
        "limits": facts.limits,
        "trials": list(facts.trials),
        "rode": facts.rode,
        "chain": None if facts.chain is None else [f"{part:.6g}" for part in facts.chain],
        "scope": facts.scope,
        "load_at": facts.load_at,
    }


def _page_key(title: str, anchors: Sequence[str], seabeds: Sequence[str]) -> str:
    """Return under what a phone keeps the entries: alike for each page of the campaign.

    A plan made anew during the day finds what was typed on the old page.
    """
    text = json.dumps([title, anchors, seabeds])
    return "holdcast day " + hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def _shares(expected: xr.Dataset, name: str) -> list[float] | None:
    """Return shares anchor by anchor; None where the log does not tell of them."""
    if name not in expected:
        return None
    return [
        float(f"{share:.6g}") for share in expected[name].transpose("anchor", "seabed").to_numpy().ravel()
    ]


def _reset_groups(expected: xr.Dataset) -> dict[str, object]:
    """Return what reversals are expected to do, group by group; nothing where the log tells of none."""
    if "reset_chance" not in expected:
        return {}
    chance, concentration = (
        expected[name].transpose("group", "anchor", "seabed").to_numpy()
        for name in ("reset_chance", "reset_concentration")
    )
    return {
        "reset_odds": quantised(logit(np.clip(chance, 1e-9, 1.0 - 1e-9))),
        "reset_log_concentration": quantised(np.log(concentration)),
    }


def _turns(expected: xr.Dataset) -> dict[str, object]:
    """Return at which load an anchor lets go after a turn; nothing where the log tells of none."""
    if "turned_n" not in expected:
        return {}
    levels = expected["turned_n"].transpose("turn_level", "turn", "anchor", "seabed").to_numpy()
    least = expected["turned_least_n"].transpose("anchor", "seabed").to_numpy()
    return {
        "turns": expected["turn"].to_numpy().tolist(),
        "turn_odds": [float(f"{odds:.9g}") for odds in logit(expected["turn_level"].to_numpy())],
        "turned": packed_levels(np.log(levels)),
        # Below a newton nothing is read.
        "turned_least": quantised(np.log(np.maximum(least, 1.0))),
        "turn_read_to": float(expected["read_to_deg"]),
    }


def _unit(unit: str, units: Mapping[str, tuple[str, float]]) -> dict[str, object]:
    word, size = units[unit]
    return {"word": word, "column": unit, "size": size}

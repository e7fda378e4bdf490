"""A day of invented tests: expected readings of the shape that answers/readings gives."""

from typing import NamedTuple

import numpy as np
import xarray as xr
from scipy.special import expit, logit
from scipy.stats import norm

from holdcast.campaign.columns.typed_numbers import typed_numbers
from holdcast.show.day import DayFacts, day_html

TEST_DAY = DayFacts(
    "Invented & <b>bold</b>",
    typed_numbers("kn", "m"),
    trials=("t1", "t2"),
    rodes=("usual rode", "light rode"),
    instruments=("cell 1",),
    rode="usual rode",
    scope=7.0,
    provenance="holdcast 0.1.0, seed 7",
)
TURNS, QUARTER_TAKES, LEAST_N = (0.0, 90.0, 180.0, 360.0), 0.2, 600.0
"""Turns of the table [deg], what a quarter of a turn takes [log], what any anchor bears [N]."""
SEABEDS = ("soft mud", "harbour clay", "<script>alert(1)</script>", "shingle")


def invented_readings(anchors: int = 6, seabeds: int = 4, seed: int = 5) -> xr.Dataset:
    """Log-normal readings with a lower hump of anchors that do not dig in, roughly as a fit would give."""
    random = np.random.default_rng(seed)
    names = [f"{chr(65 + i % 26)}{i // 26 or ''}-{10 + i % 3 * 5}" for i in range(anchors)]
    names[1] = '<img src=x onerror=alert(1)> "B", 10'
    places = [
        name if i < 4 else f"{name} {i}" for i, name in enumerate((SEABEDS * (1 + seabeds // 4))[:seabeds])
    ]
    end = float(logit(2.5e-4))
    level = expit(np.linspace(end, -end, 201))
    centre = np.log(random.uniform(800, 4000, (anchors, seabeds)))
    spread = random.uniform(0.25, 0.7, (anchors, seabeds))
    readings = np.exp(centre[..., None] + spread[..., None] * norm.ppf(level))
    wanted = [0.05, 0.5, 0.95]
    turn_level, turn = level[[0, 25, 45, 55, 65, 85, 100, 115, 135, 145, 155, 175, 200]], np.array(TURNS)
    after = (centre[..., None] - QUARTER_TAKES * turn / 90)[..., None]
    return xr.Dataset(
        {
            "reading_n": (("anchor", "seabed", "level"), readings),
            "expected_n": (
                ("anchor", "seabed", "quantile"),
                np.exp(centre[..., None] + spread[..., None] * norm.ppf(wanted)),
            ),
            "resets": (("anchor", "seabed"), np.full((anchors, seabeds), 0.84)),
            "reset_chance": (("anchor", "seabed", "group"), np.full((anchors, seabeds, 4), 0.84)),
            "reset_concentration": (("anchor", "seabed", "group"), np.full((anchors, seabeds, 4), 6.0)),
            "veer_kept": (("anchor", "seabed"), np.full((anchors, seabeds), 0.7)),
            "turned_n": (
                ("anchor", "seabed", "turn", "turn_level"),
                np.exp(after + spread[..., None, None] * norm.ppf(turn_level)),
            ),
            "turned_least_n": (("anchor", "seabed"), np.full((anchors, seabeds), LEAST_N)),
            "read_to_deg": ((), 15.0),
            "sets": (("anchor", "seabed"), random.uniform(0.6, 0.99, (anchors, seabeds))),
        },
        {
            **{"anchor": names, "seabed": places, "level": level, "quantile": wanted},
            **{"turn": turn, "turn_level": turn_level},
        },
    )


class InventedTest(NamedTuple):
    order: int
    seabed: str
    anchor: str
    pulls: int
    hours: float
    because: str


def planned_tests(expected: xr.Dataset, tests: int = 3, pulls: int = 3) -> list[InventedTest]:
    anchors, seabeds = expected["anchor"].to_numpy(), expected["seabed"].to_numpy()
    because = "Nobody pulled it here, and it is like three others that were & <i>are</i>."
    return [
        InventedTest(
            i + 1,
            str(seabeds[i // 2 % len(seabeds)]),
            str(anchors[i % len(anchors)]),
            pulls,
            1.25,
            because,
        )
        for i in range(tests)
    ]


def day_page(expected: xr.Dataset, tests: int = 3, pulls: int = 3, **changes: object) -> str:
    facts = TEST_DAY._replace(**changes)
    facts = facts._replace(limits=typed_numbers(facts.force_unit, facts.length_unit))
    return day_html(planned_tests(expected, tests, pulls), expected, facts)

"""Campaigns written by hand, a way to evaluate without compiling, and the one shared fit."""

import csv
import importlib
import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import numba
import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from numpy.typing import NDArray
from pytensor.compile.mode import Mode

from holdcast.campaign import Campaign, read_campaign
from holdcast.capacity.fitting import Fit, fit
from holdcast.capacity.likelihood.interval_rows import ABOVE, BETWEEN, Distribution
from holdcast.capacity.likelihood.log_likelihoods import TESTS, log_likelihood_of
from holdcast.capacity.likelihood.setting_rows import DID_NOT_SET, NOT_SAID, SET, UNREAD
from holdcast.capacity.sampler.compiling import CompiledModel, compile_model

Rows = Sequence[Mapping[str, object]]
TODAY = date(2025, 1, 1)
SEED = 11
PLAIN = Mode(linker="py", optimizer=None)
"""Evaluates a graph as it stands, without compiling."""


def write_table(path: Path, rows: Rows) -> None:
    names = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, names, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def read_rows(folder: Path, settings: str = "", **tables: Rows) -> Campaign:
    """Write tables as CSV files and read them as on the first day of 2025."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        write_table(folder / f"{name}.csv", rows)
    if settings:
        (folder / "campaign.toml").write_text(settings, encoding="utf-8")
    return read_campaign(folder, today=TODAY)


def small_tables() -> dict[str, list[dict[str, object]]]:
    """Four anchors of three designs, three seabeds, 40 pulls on six visits, one cell in six untested."""
    random = np.random.default_rng(5)
    anchors: list[dict[str, object]] = [
        {"anchor": "A-10", "design": "A", "form": "scoop", "mass_kg": 10, "tip_load_kg": 4,
         "fluke_area_cm2": 900, "flag_roll_bar": "yes"},
        {"anchor": "A-10-bare", "design": "A", "form": "scoop", "mass_kg": 9.5, "tip_load_kg": 3.9,
         "fluke_area_cm2": 900, "flag_roll_bar": "no"},
        {"anchor": "B-15", "design": "B", "form": "plough", "mass_kg": 15, "tip_load_kg": 4.5},
        {"anchor": "C-08", "design": "C", "form": "twin_fluke", "mass_kg": 8, "fluke_area_cm2": 1100},
    ]  # fmt: skip
    seabeds: list[dict[str, object]] = [
        {"seabed": "mud", "soil": "clay", "strength": "very_low"},
        {"seabed": "beach", "soil": "sand", "strength": "medium_dense"},
        {"seabed": "stones", "soil": "gravel", "strength": "dense"},
    ]
    untested = {("A-10-bare", "stones"), ("C-08", "mud")}
    trials: list[dict[str, object]] = []
    for place, (seabed, anchor) in enumerate(itertools.product(seabeds, anchors)):
        if (anchor["anchor"], seabed["seabed"]) in untested:
            continue
        typical = float(np.exp(7.3 + 0.3 * random.standard_normal()))
        for pull in range(4):
            held = round(typical * float(np.exp(0.2 * random.standard_normal())), -1)
            released: object = round(held * 1.15, -1) if pull else ("" if place % 3 == 0 else held)
            trials.append(
                {"trial": f"T{len(trials):03d}", "anchor": anchor["anchor"], "seabed": seabed["seabed"],
                 "test": "pull", "date": f"2024-05-{1 + 3 * seabeds.index(seabed) + pull // 2:02d}",
                 "held_n": held if pull != 3 or place % 4 else "", "released_n": released,
                 "stopped_by": "boat_limit" if released == "" else "anchor"}
            )  # fmt: skip
    return {"anchors": anchors, "seabeds": seabeds, "trials": trials}


@pytest.fixture
def make_campaign(tmp_path: Path) -> Callable[..., Campaign]:
    """Write a campaign; each keyword is a table, those left out are the small campaign's."""
    return lambda settings="", **tables: read_rows(
        tmp_path / "campaign", settings, **(small_tables() | tables)
    )


@pytest.fixture(scope="session")
def small_campaign(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    return read_rows(tmp_path_factory.mktemp("small") / "campaign", **small_tables())


@pytest.fixture(scope="session")
def evaluate() -> Callable[..., Any]:
    """Return the value of a graph at arrays given for its inputs, without compiling."""

    def evaluate(graph: Any, values: Mapping[Any, Any]) -> Any:
        return pytensor.function(list(values), graph, mode=PLAIN, on_unused_input="ignore")(*values.values())

    return evaluate


@pytest.fixture(scope="session")
def plain_mode() -> Mode:
    return PLAIN


@pytest.fixture(scope="session")
def fitted(small_campaign: Campaign) -> tuple[Fit, CompiledModel]:
    """The one real fit of this room's tests, through the front function, and the model it compiled."""
    compiled: list[CompiledModel] = []

    def remember(model: Any, **options: Any) -> CompiledModel:
        compiled.append(compile_model(model, **options))
        return compiled[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(importlib.import_module("holdcast.capacity.model_fitting"), "compile_model", remember)
        made = fit(small_campaign, seed=SEED)
    return made, compiled[0]


@numba.njit
def _normal_density(z: float) -> float:
    return math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)


@numba.njit
def _normal_slope(z: float) -> float:
    return -z


@numba.njit
def _normal_probability(far: float, near: float) -> float:
    return 0.5 * (math.erfc(-near / math.sqrt(2.0)) - math.erfc(-far / math.sqrt(2.0)))


@pytest.fixture(scope="session")
def normal_scatter() -> Distribution:
    """The standard normal, for published fits that are not of a Student t."""
    return Distribution(_normal_density, _normal_slope, _normal_probability)


class World(NamedTuple):
    """What moves the likelihoods of all three kinds of tests, and the columns of their data."""

    effects: dict[str, NDArray[Any]]
    data: dict[str, NDArray[Any]]


def world_of_tests(seed: int = 1, pulls: int = 40) -> World:
    """Return pulls of every kind, said to have set or not, and resets and veers on the same nine spots."""
    anchors, seabeds, visits, spots, resets, veers = 4, 3, 5, 9, 12, 15
    random = np.random.default_rng(seed)
    cells = (anchors, seabeds)
    effects = {
        "capacity": random.normal(7.0, 0.4, cells), "visit": random.normal(0.0, 0.2, visits),
        "spot": random.normal(0.0, 0.1, spots), "scatter": random.uniform(0.2, 0.4, seabeds),
        "fall": np.array(0.5), "rate": random.uniform(0.05, 0.2, seabeds),
        "odds": random.normal(1.5, 1.0, cells), "odds_again": random.normal(0.5, 1.0, cells),
        "concentration": np.array(5.0), "sliding": random.normal(4.7, 0.3, anchors),
        "sliding_scatter": np.array(0.5), "turn": random.uniform(0.1, 0.6, cells),
        "spot_spread": np.array(0.15),
    }  # fmt: skip
    anchor, visit = random.integers(0, anchors, spots), random.integers(0, visits, spots)
    seabed = random.integers(0, seabeds, visits)[visit]
    spot_of = random.integers(0, spots, pulls)
    number = np.bincount(spot_of, minlength=spots)
    kind = random.integers(0, 5, pulls)
    setting = np.where(kind == UNREAD, DID_NOT_SET, random.choice([NOT_SAID, NOT_SAID, SET], pulls))
    setting[kind == ABOVE] = SET
    lower = random.normal(6.0, 1.0, pulls)
    data = {
        "spot_anchor": anchor, "spot_seabed": seabed, "spot_visit": visit, "spot_pulls": number,
        "spot_first": np.concatenate([[0], np.cumsum(number)[:-1]]), "spot_alone": np.zeros(spots, dtype=int),
        "pull_order": np.argsort(spot_of, kind="stable"), "kind": kind, "setting": setting,
        "lower": lower, "upper": np.where(kind == BETWEEN, lower + 0.3, lower),
        "fall_lower": random.uniform(0.0, 0.3, pulls), "fall_upper": random.uniform(0.3, 0.5, pulls),
        "fall_slope": random.uniform(0.0, 0.4, pulls), "speed": random.choice([0.0, 0.1], pulls),
    }  # fmt: skip
    at = random.integers(0, spots, resets)
    attempts = random.integers(1, 10, resets)
    data |= {
        "reset_spot": at, "reset_anchor": anchor[at], "reset_seabed": seabed[at], "reset_visit": visit[at],
        "attempts": attempts, "successes": random.integers(0, attempts + 1),
        "reset_judged": np.arange(resets) % 2, "reset_held": random.normal(6.5, 0.5, resets),
        "reset_fall": random.uniform(0.0, 0.3, resets), "reversal": random.choice([1.0, 0.5], resets),
    }  # fmt: skip
    at, kind = random.integers(0, spots, veers), np.arange(veers) % 4
    lower = random.normal(6.0, 0.5, veers)
    data |= {
        "veer_spot": at, "veer_anchor": anchor[at], "veer_seabed": seabed[at], "veer_visit": visit[at],
        "veer_kind": kind, "veer_lower": lower, "veer_upper": lower + np.where(kind == BETWEEN, 0.3, 0.0),
        "veer_fall_lower": random.uniform(0.0, 0.3, veers), "veer_speed": random.choice([0.0, 0.1], veers),
        "veer_fall_upper": random.uniform(0.3, 0.5, veers),
        "veer_fall_slope": random.uniform(0.0, 0.3, veers),
        "turn_lower": random.uniform(0.0, 1.0, veers), "turn_upper": random.uniform(1.0, 2.0, veers),
    }  # fmt: skip
    return World(effects, data)


@pytest.fixture
def world() -> World:
    return world_of_tests()


def tests_of_setting() -> list[dict[str, object]]:
    """Rows to add to the small campaign's log: two resets, three veers and two pulls that did not set."""
    return [
        {"trial": "R1", "anchor": "A-10", "seabed": "mud", "test": "reset", "date": "2024-05-01",
         "held_n": 400, "attempts": 10, "successes": 8},
        {"trial": "R2", "anchor": "B-15", "seabed": "mud", "test": "reset", "date": "2024-05-01",
         "attempts": 4, "successes": 1, "reversal_deg": 90},
        {"trial": "V1", "anchor": "A-10", "seabed": "beach", "test": "veer", "date": "2024-05-04",
         "held_n": 800, "veer_deg": 180},
        {"trial": "V2", "anchor": "B-15", "seabed": "beach", "test": "veer", "date": "2024-05-04",
         "held_n": 900, "veer_deg": 180, "veer_held_deg": 45},
        {"trial": "V3", "anchor": "C-08", "seabed": "beach", "test": "veer", "date": "2024-05-04",
         "held_n": 700, "released_n": 900, "veer_deg": 180},
        {"trial": "N1", "anchor": "C-08", "seabed": "stones", "test": "pull", "date": "2024-05-07",
         "set": "no"},
        {"trial": "N2", "anchor": "C-08", "seabed": "stones", "test": "pull", "date": "2024-05-07",
         "released_n": 90, "set": "no", "stopped_by": "anchor"},
    ]  # fmt: skip


@pytest.fixture(scope="session")
def setting_campaign(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    """The small campaign with resets, veers and pulls that did not set."""
    tables = small_tables()
    tables["trials"] = [*tables["trials"], *tests_of_setting()]
    return read_rows(tmp_path_factory.mktemp("setting") / "campaign", **tables)


def assert_slopes_are_differences(
    test: str, effects: Mapping[str, NDArray[Any]], data: Mapping[str, NDArray[Any]], mode: Mode
) -> dict[str, NDArray[Any]]:
    """Compare each slope of a likelihood with finite differences across it; return the slopes by effect."""
    names, step = TESTS[test].effects, 1e-5
    symbols = {name: pt.as_tensor_variable(effects[name]).type(name) for name in names}
    total = log_likelihood_of(test, symbols, data)
    outputs = [total, *pytensor.grad(total, list(symbols.values()))]
    evaluate = pytensor.function(list(symbols.values()), outputs, mode=mode)
    start = [effects[name] for name in names]
    _, *slopes = evaluate(*start)
    for place, name in enumerate(names):
        for at in np.ndindex(start[place].shape):
            ends = []
            for sign in (1.0, -1.0):
                moved = [each.copy() for each in start]
                moved[place][at] += sign * step
                ends.append(evaluate(*moved)[0])
            across = (ends[0] - ends[1]) / (2 * step)
            assert slopes[place][at] == pytest.approx(across, rel=1e-5, abs=1e-5), (name, at)
    return dict(zip(names, slopes, strict=True))

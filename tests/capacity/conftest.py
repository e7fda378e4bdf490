"""Campaigns written by hand, a way to evaluate without compiling, and the one shared fit."""

import csv
import importlib
import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytensor
import pytest
from pytensor.compile.mode import Mode

from holdcast.campaign import Campaign, read_campaign
from holdcast.capacity.fitting import Fit, fit
from holdcast.capacity.likelihood.interval_rows import Distribution
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

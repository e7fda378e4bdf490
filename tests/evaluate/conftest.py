"""A small campaign read as a tester's, its inputs, and draws made up around known values."""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from all_set import with_setting

from holdcast.campaign import Campaign, read_campaign
from holdcast.capacity.inputs.layout import lay_out

ANCHORS = (
    ("a-06", "a", "scoop", 6.0, 2.4, ""),
    ("a-15", "a", "scoop", 15.0, 6.0, ""),
    ("a-15-bar", "a", "scoop", 15.9, 6.1, "yes"),
    ("b-10", "b", "plough", 10.0, 3.0, ""),
    ("c-08", "c", "claw", 8.0, 1.8, ""),
)
SEABEDS = (("mud", "clay", "very_low"), ("bar", "sand", "dense"), ("creek", "silt", "low"))


def write(path: Path, names: str, rows: list[tuple[object, ...]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(names.split())
        writer.writerows(rows)


def make_campaign(folder: Path, seed: int = 1) -> Campaign:
    """Five anchors of three designs, three seabeds; every kind of reading; one cell untested."""
    random = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    rows: list[tuple[object, ...]] = []
    for anchor, _, _, mass, _, _ in ANCHORS:
        for seabed, _, _ in SEABEDS:
            if (anchor, seabed) == ("c-08", "creek"):
                continue
            for pull in range(3):
                load = 150.0 * mass * np.exp(0.2 * random.standard_normal())
                held, released = [
                    (round(0.9 * load), round(1.05 * load)), (round(load), ""), (round(load), round(load)),
                    ("", round(load)),
                ][len(rows) % 4]  # fmt: skip
                rows.append((f"t{len(rows)}", anchor, seabed, "pull", f"{seabed} {pull % 2}", held, released))
    write(folder / "anchors.csv", "anchor design form mass_kg tip_load_kg flag_roll_bar", list(ANCHORS))
    write(folder / "seabeds.csv", "seabed soil strength", list(SEABEDS))
    write(folder / "trials.csv", "trial anchor seabed test visit held_n released_n", rows)
    return read_campaign(folder)


@pytest.fixture(scope="session")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    return make_campaign(tmp_path_factory.mktemp("campaign"))


@pytest.fixture(scope="session")
def inputs(campaign: Campaign) -> xr.Dataset:
    return lay_out(campaign)


@pytest.fixture(scope="session")
def other_inputs(tmp_path_factory: pytest.TempPathFactory) -> xr.Dataset:
    """The same layout with other loads."""
    return lay_out(make_campaign(tmp_path_factory.mktemp("other"), seed=2))


@pytest.fixture
def draws(inputs: xr.Dataset) -> Callable[..., xr.Dataset]:
    """Make draws whose log capacity, scatter and visit effects are given."""

    def make(
        capacity: float = 7.3, scatter: float = 0.2, spread: float = 0.0, count: int = 400
    ) -> xr.Dataset:
        random, size = np.random.default_rng(4), inputs.sizes

        def array(value: float, *dims: str, sd: float = 0.0) -> tuple[tuple[str, ...], np.ndarray]:
            shape = (2, count, *(size[dim] for dim in dims))
            return ("chain", "draw", *dims), value + sd * random.standard_normal(shape)

        return with_setting(
            xr.Dataset(
                {
                    "log_capacity": array(capacity, "anchor", "seabed", sd=spread),
                    "visit_effect": array(0.0, "visit"),
                    "pull_scatter": array(scatter, "seabed"),
                    "rate_per_decade": array(0.05, "soil"),
                    "strength_of_fall": array(0.5),
                },
                coords={dim: inputs[dim] for dim in ("anchor", "seabed", "visit", "soil")},
            ),
            inputs,
        )

    return make

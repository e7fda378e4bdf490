"""Invented cells and findings: letters for designs, no real anchor behind any number."""

from collections.abc import Callable

import numpy as np
import pytest
import xarray as xr

FORMS = ("scoop", "plough", "claw", "twin_fluke", "stock", "stockless", "grapnel", "other")
SEABEDS = {
    "soft mud": ("silt", "very_low"),
    "harbour clay": ("clay", "medium"),
    "weedy clay": ("clay", "high"),
    "loose sand": ("sand", "loose"),
    "ribbed sand": ("sand", "dense"),
    "shingle": ("gravel", "medium_dense"),
    "cobbles": ("cobble", ""),
}
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
NORMAL_QUANTILES = np.array([-1.645, -0.674, 0.0, 0.674, 1.645])


def letters(number: int) -> str:
    """A, B, ... Z, AA, AB, ..."""
    return (letters(number // 26 - 1) if number >= 26 else "") + chr(ord("A") + number % 26)


def invented_cells(anchors: int = 20, seabeds: int = 7, seed: int = 1) -> xr.Dataset:
    """Cells as answers/ hands them over; bands of untested cells are wider."""
    random = np.random.default_rng(seed)
    mass = random.choice([5.0, 10.0, 15.0, 20.0], anchors)
    names = [f"{letters(i)} {m:g} kg" for i, m in enumerate(mass)]
    chosen = list(SEABEDS.items())[:seabeds]
    shape = (anchors, seabeds)
    centre = (
        np.log(28 * mass * 9.81)[:, None] + random.normal(0, 0.4, (anchors, 1)) + random.normal(0, 0.5, shape)
    )
    tested = random.random(shape) < 0.6
    spread = np.where(tested, random.uniform(0.1, 0.25, shape), random.uniform(0.45, 0.8, shape))
    log_capacity = centre[..., None] + spread[..., None] * NORMAL_QUANTILES
    log_pull = centre[..., None] + np.hypot(spread, 0.35)[..., None] * NORMAL_QUANTILES
    cell, band = ("anchor", "seabed"), ("anchor", "seabed", "quantile")
    return xr.Dataset(
        {
            "capacity_n": (band, np.exp(log_capacity)),
            "efficiency": (band, np.exp(log_capacity) / (mass * 9.81)[:, None, None]),
            "new_pull_n": (band, np.exp(log_pull)),
            "evidence": (cell, np.where(tested, "tested", "untested").astype(object)),
            "pulls": (cell, np.where(tested, random.integers(1, 13, shape), 0)),
            "visits": (cell, np.where(tested, random.integers(1, 3, shape), 0)),
            "own_data_rough": (cell, tested & (np.arange(tested.size).reshape(shape) % 7 == 0)),
            "own_data": (cell, np.where(tested, random.uniform(0.2, 0.8, shape), 0.0)),
            "range": (cell, np.where(random.random(shape) < 0.05, "outside", "inside").astype(object)),
            "bounded": (cell, np.where(tested, "both", "").astype(object)),
            "above_threshold": (cell, np.full(shape, np.nan)),
        },
        coords={
            "anchor": names,
            "seabed": [name for name, _ in chosen],
            "quantile": list(QUANTILES),
            "design": ("anchor", [name.split()[0] for name in names]),
            "form": ("anchor", [FORMS[i % (5 if anchors < 50 else 8)] for i in range(anchors)]),
            "mass_kg": ("anchor", mass),
            "soil": ("seabed", [soil for _, (soil, _) in chosen]),
            "strength": ("seabed", [strength for _, (_, strength) in chosen]),
        },
        attrs={
            "title": "Seven seabeds, invented",
            "author": "A. Tester",
            "licence": "CC BY 4.0",
            "version": "0.1.0",
            "seed": 7,
            "newest_trial": "2026-08-30",
            "input_hash": "0123456789abcdef" * 4,
        },
    )


@pytest.fixture
def make_cells() -> Callable[..., xr.Dataset]:
    return invented_cells


@pytest.fixture
def cells() -> xr.Dataset:
    return invented_cells()

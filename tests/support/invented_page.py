"""A page of invented cells and draws; letters for anchors."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.page.joint_draws import holding_chance
from holdcast.physics.tackle.wind import mooring_load_n
from holdcast.physics.units import MPS_PER_KNOT
from holdcast.show.report import LogFacts, ModelCheck, Pictures, Reader, report_html
from holdcast.show.report.questions import Question
from holdcast.show.text.plain_table import TextTable

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
SEABEDS = [
    ("soft mud", "silt"),
    ("harbour clay", "clay"),
    ("<script>alert(1)</script>", "sand"),
    ("shingle", "gravel"),
]
FORMS = ("scoop", "plough", "claw", "twin_fluke")
CAMPAIGN = {
    "title": "Invented & <b>bold</b>",
    "author": "A. Tester",
    "licence": "CC BY 4.0",
    "version": "0.1.0",
    "seed": 7,
    "newest_trial": "2026-08-30",
    "input_hash": "0" * 64,
    "thresholds": '{"efficiency": 20}',
}


def invented_draws(anchors: int, seabeds: int, samples: int = 400, seed: int = 3) -> xr.Dataset:
    random = np.random.default_rng(seed)
    mass = random.choice([5.0, 10.0, 15.0, 20.0, 25.0], anchors)
    names = [f"{chr(65 + i % 26)}{i // 26 or ''}-{m:02.0f}" for i, m in enumerate(mass)]
    names[1] = "<img src=x onerror=alert(1)>"
    shape = (samples, anchors, seabeds)
    centre = np.log(mass * 28 * 9.81)[:, None] + random.normal(0, 0.4, (anchors, seabeds))
    spread = random.uniform(0.05, 0.6, (anchors, seabeds))
    cell = ("sample", "anchor", "seabed")
    places = (SEABEDS * (1 + seabeds // 4))[:seabeds]
    return xr.Dataset(
        {
            "log_capacity": (cell, centre + spread * random.standard_normal(shape)),
            "visit_spread": ("sample", random.uniform(0.1, 0.3, samples)),
            "pull_scatter": (("sample", "seabed"), random.uniform(0.08, 0.3, (samples, seabeds))),
            "sets": (cell, random.beta(9, 1, shape)),
            "log_sliding_efficiency": ("sample", np.log(random.uniform(2, 9, samples))),
            "sliding_scatter": ("sample", random.uniform(0.2, 0.6, samples)),
            "tested": (("anchor", "seabed"), random.random((anchors, seabeds)) < 0.6),
            "strength_of_fall": ("sample", random.lognormal(np.log(0.55), 0.4, samples)),
            "least_let_go": ((), 0.2),
            "least_scope": ((), 5.0),
        },
        coords={
            "anchor": names,
            "seabed": [name if i < 4 else f"{name} {i}" for i, (name, _) in enumerate(places)],
            "mass_kg": ("anchor", mass),
            "form": ("anchor", [FORMS[i % 4] for i in range(anchors)]),
            "soil": ("seabed", [soil for _, soil in places]),
        },
    )


def cells_of(draws: xr.Dataset) -> xr.Dataset:
    capacity = (
        np.exp(draws["log_capacity"])
        .quantile(list(QUANTILES), "sample")
        .transpose("anchor", "seabed", "quantile")
    )
    tested, cell = draws["tested"].to_numpy(), ("anchor", "seabed")
    mass = draws["mass_kg"]
    return xr.Dataset(
        {
            "capacity_n": capacity,
            "efficiency": capacity / (mass * 9.80665),
            "new_pull_n": capacity * np.array([0.7, 0.85, 1.0, 1.2, 1.5]),
            "sets": draws["sets"]
            .quantile(list(QUANTILES), "sample")
            .transpose("anchor", "seabed", "quantile"),
            "evidence": (cell, np.where(tested, "tested", "untested").astype(object)),
            "pulls": (cell, 3 * tested.astype(int)),
            "visits": (cell, tested.astype(int)),
            "bounded": (cell, np.full(tested.shape, "", dtype=object)),
            "never_set": (cell, np.zeros(tested.shape, dtype=int)),
            "own_data": (cell, 0.5 * tested),
            "own_data_rough": (cell, np.zeros(tested.shape, dtype=bool)),
            "range": (cell, np.full(tested.shape, "inside", dtype=object)),
            "above_threshold": (cell, 0.5 + 0.0 * tested),
        },
        coords={
            "design": ("anchor", [f"design {i}" for i in range(len(mass))]),
            "strength": ("seabed", ["medium"] * tested.shape[1]),
        },
        attrs=CAMPAIGN,
    )


def curves_of(draws: xr.Dataset) -> xr.Dataset:
    """Every anchor its own design, capacity in proportion to the mass, the band from half to twice."""
    masses = np.geomspace(4.0, 31.25, 5)
    median = np.exp(draws["log_capacity"].median("sample")).rename(anchor="shape")
    per_kg = (median / draws["mass_kg"].rename(anchor="shape")).reset_coords(drop=True)
    factors = xr.DataArray([0.5, 0.7, 1.0, 1.4, 2.0], {"quantile": list(QUANTILES)}, ("quantile",))
    across = xr.DataArray(masses, {"mass_kg": masses}, ("mass_kg",))
    return xr.Dataset({"capacity_n": per_kg * across * factors})


def all_rounder_of(draws: xr.Dataset, efficiency: float = 20.0) -> xr.Dataset:
    log_ratio = draws["log_capacity"] - np.log(draws["mass_kg"] * 9.80665)
    least = np.exp(log_ratio.min("seabed"))
    return xr.Dataset(
        {
            "p_every": (draws["sets"] * (log_ratio > np.log(efficiency))).prod("seabed").mean("sample"),
            "least_efficiency": least.quantile(list(QUANTILES), "sample").transpose("anchor", "quantile"),
            "median_efficiency": np.exp(log_ratio).median("sample"),
            "tested": draws["tested"],
        },
        attrs={"efficiency": efficiency, "left_out": ""},
    )


def reader_of(draws: xr.Dataset, prices: bool = True) -> Reader:
    names = draws["anchor"].to_numpy().tolist()
    seabeds = [str(name) for name in draws["seabed"].to_numpy()]
    load = float(mooring_load_n(10.0, 30 * MPS_PER_KNOT))
    trials = pd.DataFrame(
        {"anchor": names, "seabed": seabeds[0], "test": "pull", "date": "2026-05-01", "held_n": 900.0,
         "released_n": np.inf, "status": "excluded", "exclude": "fouled </details><script>"},
        index=[f"T{i}" for i in range(len(names))],
    )  # fmt: skip
    ranks = xr.Dataset(
        {"rank": (("anchor", "seabed", "quantile"), np.ones((len(names), len(seabeds), 3))),
         "groups": (("anchor", "seabed"), np.full((len(names), len(seabeds)), "a"))},
        coords={"anchor": names, "seabed": seabeds, "quantile": [0.05, 0.5, 0.95]},
    )  # fmt: skip
    table = pd.DataFrame(
        {"design": names, "form": draws["form"], "mass_kg": draws["mass_kg"], "flag_bar": True}, index=names
    )
    carried = pd.DataFrame(
        {"price_eur": [str(100 + 10 * i) for i in range(len(names))]} if prices else {}, index=names
    )
    return Reader(
        draws,
        holding_chance(draws, load, seabeds),
        (10.0, 30 * MPS_PER_KNOT, load),
        table,
        trials,
        carried,
        ranks,
        (
            Question(
                "ranks", "ranks", "Who holds more", ["Rank 1 is the best."],
                [
                    TextTable(
                        "Ranks", ["anchor", *seabeds], [[name, *["1 1-2"] * len(seabeds)] for name in names]
                    )
                ],
            ),
        ),
        curves_of(draws),
        all_rounder_of(draws),
    )  # fmt: skip


def page_of(draws: xr.Dataset, **changes: object) -> str:
    return report_html(
        cells_of(draws), {"ok": True, "sentences": ["R-hat below 1.01."]},
        LogFacts("9 rows in.", pd.DataFrame({"trial": ["T1"], "reason": ["fouled"]})),
        pd.DataFrame({"name": ["b"]}), Pictures([('<svg xmlns="http://www.w3.org/2000/svg"/>',) * 2]),
        ModelCheck(["How."], ["None."], []), reader=reader_of(draws), **changes,
    )  # fmt: skip

"""Fits put together by hand for planning: normal draws, of any number of cells."""

import json

import numpy as np
import xarray as xr
from all_set import observed, with_setting, with_spots

from holdcast.capacity.fitting import Fit
from holdcast.capacity.sampler.verdict import Verdict

VISIT, SPOT, SCATTER = 0.15, 0.1, 0.2
FEATURES = ["tip_weight", "roll_bar"]


def letters(number: int) -> str:
    return chr(ord("A") + number // 10) + str(number % 10)


def log_capacities(anchors: int, seabeds: int, draws: int, seed: int) -> np.ndarray:
    """Draws of a design's level, a seabed's, and each cell's own, shape (1, draw, anchor, seabed)."""
    random = np.random.default_rng(seed)
    design = random.normal(0.0, 0.25, (draws, (anchors + 1) // 2, 1)).repeat(2, axis=1)[:, :anchors]
    ground = random.normal(0.0, 0.1, (draws, 1, seabeds))
    own = random.normal(0.0, 1.0, (draws, anchors, seabeds)) * random.uniform(0.1, 0.5, (anchors, seabeds))
    level = 7.5 + random.normal(0.0, 0.4, (anchors, seabeds))
    return (level + design + ground + own)[None]


def day_fit(
    anchors: int = 4,
    seabeds: int = 3,
    draws: int = 2000,
    *,
    seed: int = 1,
    rows: list[tuple[str, str, str, float, float]] | None = None,
    approximate: bool = False,
    **hours: list[float],
) -> Fit:
    """Return a fit of anchors A0, A1, … in seabeds s0, s1, …

    Two anchors are of a design; the second of them has a tip weight.
    """
    names, places = [letters(at) for at in range(anchors)], [f"s{at}" for at in range(seabeds)]
    capacity = log_capacities(anchors, seabeds, draws, seed)
    pulls = rows or [(names[0], places[0], "v1", 1500.0, 1700.0), (names[1], places[0], "v1", 1500.0, np.inf)]
    has = np.array([[at % 2, 0] for at in range(anchors)], dtype=float)
    effect = np.stack([capacity[:, :, 1] - capacity[:, :, 0], 0.0 * capacity[:, :, 0]], axis=2)
    visits = list(dict.fromkeys(f"{place} / {visit}" for _, place, visit, _, _ in pulls))
    held = np.array([row[3] for row in pulls])
    released = np.array([row[4] for row in pulls])
    told = with_spots(
        xr.Dataset(
            {
                "log_mass_ratio": ("anchor", np.zeros(anchors)),
                "has_feature": (("anchor", "feature"), has),
                "lower": ("trial", np.log(held)),
                "upper": ("trial", np.log(np.where(np.isinf(released), held, released))),
                "kind": ("trial", np.where(np.isinf(released), 2, 3)),
                "anchor_of": ("trial", [names.index(row[0]) for row in pulls]),
                "seabed_of": ("trial", [places.index(row[1]) for row in pulls]),
                "visit_of": ("trial", [visits.index(f"{row[1]} / {row[2]}") for row in pulls]),
            },
            coords={
                "anchor": names,
                "seabed": places,
                "feature": FEATURES,
                "visit": visits,
                "design": [f"d{at}" for at in range((anchors + 1) // 2)],
                "form": ["scoop"],
                "trial": [f"T{at}" for at in range(len(pulls))],
            },
        )
    )
    sample = ("chain", "draw")
    shape = (1, draws)
    drawn = xr.Dataset(
        {
            "log_capacity": ((*sample, "anchor", "seabed"), capacity),
            "feature_effect": ((*sample, "feature", "seabed"), effect),
            "visit_spread": (sample, np.full(shape, VISIT)),
            "pull_scatter": ((*sample, "seabed"), np.full((*shape, seabeds), SCATTER)),
            "strength_of_fall": (sample, np.full(shape, 0.5)),
        },
        coords={"anchor": names, "seabed": places, "feature": FEATURES, "chain": [0], "draw": range(draws)},
    )
    drawn = with_setting(drawn, told).assign(spot_spread=(sample, np.full(shape, SPOT)))
    tables = {
        "anchors": xr.Dataset(
            {
                "design": ("anchor", [f"d{at // 2}" for at in range(anchors)]),
                "form": ("anchor", ["scoop"] * anchors),
                "mass_kg": ("anchor", np.full(anchors, 10.0)),
                "flag_tip_weight": ("anchor", has[:, 0] > 0),
                "flag_roll_bar": ("anchor", has[:, 1] > 0),
            },
            coords={"anchor": names},
        ),
        "seabeds": xr.Dataset(
            {
                "soil": ("seabed", ["sand"] * seabeds),
                "travel_h": ("seabed", hours.get("travel_h", [0.5] * seabeds)),
                "setup_h": ("seabed", hours.get("setup_h", [0.5] * seabeds)),
                "pull_h": ("seabed", hours.get("pull_h", [0.25] * seabeds)),
            },
            coords={"seabed": places},
        ),
        "trials": xr.Dataset(
            {
                "anchor": ("trial", [row[0] for row in pulls]),
                "seabed": ("trial", [row[1] for row in pulls]),
                "visit": ("trial", [row[2] for row in pulls]),
                "test": ("trial", ["pull"] * len(pulls)),
                "status": ("trial", ["used"] * len(pulls)),
                "held_n": ("trial", held),
                "released_n": ("trial", released),
            },
            coords={"trial": [f"T{at}" for at in range(len(pulls))]},
        ),
    }
    tree = xr.DataTree.from_dict(
        {"posterior": drawn, "constant_data": told, "observed_data": observed(told), **tables}
    )
    tree.attrs = {
        **dict.fromkeys(("title", "author", "licence", "version", "newest_trial", "input_hash"), "invented"),
        "seed": 7,
        "priors": json.dumps({}),
        "units": "si",
    }
    verdict = Verdict(True, ("made by hand",), 0, 1.0, 800.0, 800.0, 1.0, draws, approximate=approximate)
    return Fit(tree, verdict)

"""The small campaign of simulation-based calibration: who is pulled where, and how loads become readings."""

import csv
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out, trial_ends
from holdcast.capacity.likelihood.kinds import (
    ABOVE,
    BELOW,
    DID_NOT_SET,
    EXACT,
    LABEL_ERROR,
    NOT_SAID,
    SET,
    UNREAD,
)
from holdcast.physics.ground.rate import log_rate_factor
from holdcast.physics.rode.loads import fall_shape_log_slope, uplift_angle_deg
from holdcast.physics.rode.make_up import Rode, make_rode
from holdcast.physics.rode.uplift import fall_shape

Array = NDArray[np.float64]
PULLS, RESETS, VEERS = 120, 30, 24
NEW_SIZE, NEW_SEABED = "a-20", "far sand"  # never pulled: a larger size of design a, and a whole seabed
FORMS = ("scoop", "scoop", "plough", "plough", "claw", "twin_fluke", "scoop", "stock", "claw", "plough",
         "twin_fluke", "scoop")  # fmt: skip
SEABEDS = (
    {"seabed": "basin", "soil": "clay", "strength": "very_low"},
    {"seabed": "creek", "soil": "silt", "strength": "low"},
    {"seabed": "shelf", "soil": "clay", "strength": "medium"},
    {"seabed": "bar", "soil": "sand", "strength": "medium_dense"},
    {"seabed": "spit", "soil": "gravel", "strength": "dense"},
    {"seabed": NEW_SEABED, "soil": "sand", "strength": "dense"},
)
INSTRUMENTS = ({"instrument": "old cell", "error_pct": 8}, {"instrument": "new cell", "error_pct": 3})
FIRST_STEP, STEP, LIMIT = np.log(60.0), 0.13, np.log(15_000.0)  # log N


def _anchors() -> list[dict[str, object]]:
    generator = np.random.default_rng(3)
    rows: list[dict[str, object]] = []
    for place, form in enumerate(FORMS):
        mass, tip, area = (
            generator.uniform(7, 14),
            generator.uniform(0.15, 0.45),
            generator.uniform(0.014, 0.022),
        )
        name = chr(ord("a") + place)
        variants = {0: ((20.0, ""), (mass, "")), 1: ((mass, ""), (mass + 0.8, "yes"))}.get(
            place, ((mass, ""),)
        )
        for kg, part in variants:
            rows.append(
                {
                    "anchor": f"{name}-{kg:.0f}{'-bar' if part else ''}",
                    "design": name,
                    "form": form,
                    "mass_kg": round(kg, 2),
                    "tip_load_kg": "" if place % 6 == 5 else round(tip * kg, 2),
                    "fluke_area_m2": "" if place % 6 == 4 else round(area * kg ** (2 / 3), 4),
                    "flag_roll_bar": part or ("yes" if place == 6 else ""),
                }
            )
    return rows


def _trials(anchors: list[dict[str, object]]) -> list[dict[str, object]]:
    generator = np.random.default_rng(4)
    cells = [
        (a["anchor"], s["seabed"])
        for a in anchors
        for s in SEABEDS
        if a["anchor"] != NEW_SIZE and s["seabed"] != NEW_SEABED
    ]
    tested = [cells[place] for place in generator.permutation(len(cells))[: round(0.7 * len(cells))]]
    pulls = [tested[pull % len(tested)] for pull in range(PULLS)]
    blank = dict.fromkeys(("attempts", "successes", "reversal_deg", "veer_deg"), "")
    rows: list[dict[str, object]] = [
        {
            "trial": f"t{number:03d}",
            "anchor": anchor,
            "seabed": seabed,
            "test": "pull",
            "visit": f"{seabed} {generator.integers(2)}",
            "held_n": 1000,
            "released_n": 1100,
            **blank,
        }
        for number, (anchor, seabed) in enumerate(pulls)
    ]
    others = [("reset", place) for place in range(RESETS)] + [("veer", place) for place in range(VEERS)]
    for (test, place), at in zip(others, generator.integers(len(cells), size=len(others)), strict=True):
        anchor, seabed = cells[at]
        about = {
            "reset": {"attempts": 4 + 2 * (place % 4), "successes": 0, "reversal_deg": (180, 90)[place % 2]},
            "veer": {"veer_deg": 180},
        }[test]
        held = int(generator.integers(200, 1500)) if test == "veer" or place % 2 else ""
        rows.append(
            {
                "trial": f"{test} {place}",
                "anchor": anchor,
                "seabed": seabed,
                "test": test,
                "visit": f"{seabed} {generator.integers(2)}",
                "held_n": held,
                "released_n": "",
                **(blank | about),
            }
        )
    # The old cell went on the first visits, the new one on the others; of some tests nobody wrote down which.
    for number, row in enumerate(rows):
        read_by = INSTRUMENTS[int(str(row["visit"])[-1])]["instrument"]
        row["instrument"] = "" if number % 4 == 3 else read_by
    return rows


def make_layout() -> xr.Dataset:
    """Return the inputs of the campaign; its readings are to be replaced by `read_loads`."""
    anchors = _anchors()
    with tempfile.TemporaryDirectory() as folder:
        files = {"anchors": anchors, "seabeds": SEABEDS, "instruments": INSTRUMENTS}
        for name, rows in {**files, "trials": _trials(anchors)}.items():
            with (Path(folder) / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
                writer = csv.DictWriter(stream, list(rows[0]))
                writer.writeheader()
                writer.writerows(rows)
        return lay_out(read_campaign(folder))


def _rode(count: int) -> tuple[Rode, NDArray[np.bool_]]:
    """Return each pull's rode and whether it is known: two pulls in five, at scopes 3 to 7."""
    generator = np.random.default_rng(5)
    depth, scope = generator.uniform(2.0, 5.0, count), generator.uniform(3.0, 7.0, count)
    logged = generator.random(count) < 0.4
    return make_rode(
        depth, scope * (depth + 1.0), np.full(count, 1.45), np.full(count, 8.0), bow_height_m=1.0
    ), logged


def read_loads(
    inputs: xr.Dataset, log_load: Array, fall: Array, rate: Array, did_set: NDArray[np.bool_]
) -> xr.Dataset:
    """Return the inputs in which a tester has read these loads.

    Parameters
    ----------
    inputs : Dataset
        Of `make_layout`.
    log_load : array, shape (trial,)
        Break-out loads along the bottom at rest [log N], or loads at which unset anchors slide.
    fall, rate : arrays, shape (trial,)
        Strength of the fall with the uplift angle; gain per tenfold drag speed.
    did_set : array of bool, shape (trial,)
        Three in ten are written down; of some of these no load is read where the anchor did not set.

    Notes
    -----
    Which rows are read exactly, at what speed and with what rode never depends on the loads; steps and limit
    are fixed. So the readings coarsen the loads at random, and ranks are uniform for the right model.
    """
    count = len(log_load)
    rode, logged = _rode(count)
    generator = np.random.default_rng(6)
    exact = generator.random(count) < 0.25
    speed = np.where(exact & (generator.random(count) < 0.5), generator.choice([0.01, 0.1, 0.5], count), 0.0)
    at_speed = np.asarray(log_rate_factor(speed, rate))

    def shape(log_n: Array) -> Array:
        return np.where(logged, fall_shape(uplift_angle_deg(np.exp(log_n), rode)), 0.0)

    def reading(target: Array) -> Array:
        """Solve reading + fall · shape(reading) = target; the left side rises with the reading."""
        low, high = np.full(count, -5.0), np.full(count, 20.0)
        for _ in range(50):
            middle = 0.5 * (low + high)
            short = middle + fall * shape(middle) < target
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        return 0.5 * (low + high)

    at_rest = reading(log_load)
    below = FIRST_STEP + STEP * np.floor((at_rest - FIRST_STEP) / STEP)
    kind = np.select([at_rest < FIRST_STEP, at_rest > LIMIT, exact], [BELOW, ABOVE, EXACT], -1)
    dragged = reading(log_load + at_speed)
    lower = np.select([kind == BELOW, kind == ABOVE, kind == EXACT], [-np.inf, LIMIT, dragged], below)
    upper = np.select(
        [kind == BELOW, kind == ABOVE, kind == EXACT], [FIRST_STEP, np.inf, dragged], below + STEP
    )
    written = generator.random(count) < 0.3
    unread = written & (generator.random(count) < 0.2) & ~did_set
    lower, upper = np.where(unread, -np.inf, lower), np.where(unread, np.inf, upper)
    kind = np.where(unread, UNREAD, kind)
    finite = np.where(np.isinf(upper), 0.0, upper)
    loads = pd.DataFrame(
        {
            "lower_n": np.exp(lower),
            "upper_n": np.exp(upper),
            "fall_lower": np.where(np.isinf(lower), 0.0, shape(np.where(np.isinf(lower), 0.0, lower))),
            "fall_upper": np.where(np.isinf(upper), 0.0, shape(finite)),
            "fall_slope": np.where(logged & (kind == EXACT), fall_shape_log_slope(np.exp(finite), rode), 0.0),
            "speed": np.where(kind == EXACT, speed, 0.0),
            "rode_known": logged,
        },
        index=inputs["trial"].to_numpy(),
    )
    # A slip of the pen now and then; only pulls that slid without a load are surely said so.
    says_set = did_set ^ (~unread & (generator.random(count) < LABEL_ERROR))
    # An anchor that held to the limit has set, unless the log says that it did not.
    words = [written & ~says_set, (kind == ABOVE) | written]
    setting = ("trial", np.select(words, [DID_NOT_SET, SET], NOT_SAID))
    return inputs.assign(trial_ends(loads).data_vars).assign(setting=setting)

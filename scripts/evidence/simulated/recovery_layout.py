"""The campaign that recovery fits: who is pulled where, and how a load becomes a reading."""

import csv
import itertools
import tempfile
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT

__all__ = ["ANCHORS", "HIDDEN_SHARE", "PULLS", "SEABEDS", "make_layout", "readings"]

PULLS = 160
HIDDEN_SHARE = 0.3
LAYOUT_SEED = 7
FORMS = ("scoop", "scoop", "scoop", "plough", "plough", "claw", "twin_fluke", "twin_fluke", "stockless",
         "grapnel", "scoop", "plough")  # fmt: skip
SEABEDS = (
    {"seabed": "mud", "soil": "clay", "strength": "very_low"},
    {"seabed": "shelf", "soil": "clay", "strength": "medium"},
    {"seabed": "creek", "soil": "silt", "strength": "low"},
    {"seabed": "bar", "soil": "sand", "strength": "loose"},
    {"seabed": "beach", "soil": "sand", "strength": "dense"},
    {"seabed": "bank", "soil": "gravel", "strength": "medium_dense"},
)


def _anchors() -> tuple[dict[str, object], ...]:
    """Return 16 anchors of 12 designs: two more sizes and two with a part bolted on."""
    random, rows = np.random.default_rng(LAYOUT_SEED), []
    for place, form in enumerate(FORMS):
        sizes = (1.0, 1.7) if place in (0, 3) else (1.0,)
        parts = ("no", "yes") if place in (1, 4) else ("no",)
        mass, tip, area = random.uniform(7.0, 14.0), random.uniform(0.15, 0.5), random.uniform(0.013, 0.022)
        for size, part in itertools.product(sizes, parts):
            kg = round(mass * size + (0.8 if part == "yes" else 0.0), 1)
            measured = place % 5 != 4
            rows.append(
                {"anchor": f"{chr(65 + place)}-{kg:g}", "design": chr(65 + place), "form": form,
                 "mass_kg": kg, "tip_load_kg": round(tip * kg, 2) if measured else "",
                 "fluke_area_m2": round(area * kg ** (2 / 3), 3) if place % 6 != 5 else "", "flag_part": part}
            )  # fmt: skip
    return tuple(rows)


ANCHORS = _anchors()


def _trials() -> list[dict[str, object]]:
    """Return pulls of the cells that are not hidden, in two visits a seabed; loads come later."""
    random = np.random.default_rng(LAYOUT_SEED)
    cells = list(itertools.product(ANCHORS, SEABEDS))
    tested = random.permutation(len(cells))[: round((1.0 - HIDDEN_SHARE) * len(cells))]
    pulled = np.sort(
        np.concatenate([tested, tested, random.choice(tested, PULLS - 2 * len(tested), replace=False)])
    )
    rows = []
    for number, place in enumerate(pulled):
        anchor, seabed = cells[place]
        day = 1 + 2 * (place % len(SEABEDS)) + int(random.integers(2))
        rows.append({"trial": number, "anchor": anchor["anchor"], "seabed": seabed["seabed"], "test": "pull",
                     "date": f"2024-06-{day:02d}", "held_n": 1000, "released_n": 1100})  # fmt: skip
    return rows


def make_layout() -> xr.Dataset:
    """Return the inputs of the campaign, with readings to be replaced."""
    tables = {"anchors": ANCHORS, "seabeds": SEABEDS, "trials": _trials()}
    with tempfile.TemporaryDirectory() as folder:
        for name, rows in tables.items():
            with (Path(folder) / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
                writer = csv.DictWriter(stream, list(rows[0]))
                writer.writeheader()
                writer.writerows(rows)
        return lay_out(read_campaign(folder))


def readings(inputs: xr.Dataset, log_load: NDArray[np.float64], seed: int) -> xr.Dataset:
    """Return inputs in which a tester has read these loads.

    The load is raised from a first step, by about an eighth a step: what was held is the last step below the
    load, what let go the next.  One pull in ten is read exactly, from the highest reading of a load cell.  A
    load below the first step never held; one above the boat's limit was not reached.  Which limit and which
    first step a boat has does not depend on the loads, so the readings are open without being chosen.

    Parameters
    ----------
    inputs : Dataset
        Of :func:`make_layout`.
    log_load : array, shape (trial,)
        Loads at which the anchors let go [log N].
    seed : int
        Of the boat and of which pulls are read exactly.
    """
    random = np.random.default_rng([seed, 2])
    first, limit = (
        random.uniform(np.log(150.0), np.log(500.0)),
        random.uniform(np.log(4000.0), np.log(12_000.0)),
    )
    step = random.uniform(0.08, 0.16, log_load.shape)
    below_load = first + np.floor((log_load - first) / step) * step
    exact = random.random(log_load.shape) < 0.1
    kind = np.select([log_load < first, log_load > limit, exact], [BELOW, ABOVE, EXACT], BETWEEN)
    lower = np.select([kind == ABOVE, kind == EXACT, kind == BELOW], [limit, log_load, first], below_load)
    upper = np.select(
        [kind == ABOVE, kind == EXACT, kind == BELOW], [limit, log_load, first], below_load + step
    )
    return inputs.assign(
        lower=("trial", lower), upper=("trial", upper), kind=("trial", kind.astype(np.int64))
    )

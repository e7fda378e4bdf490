"""From a published table to a campaign as a tester would have logged it, and to what is true of it."""

import csv
import tempfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign import read_campaign
from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from outside.tables import Table, read_table

__all__ = ["PARTS", "Logged", "log_campaign", "parts_of"]

MASS_KG, TYPICAL_N = 10.0, 1500.0
"""Every anchor's mass, and the load that a table's middle reading becomes: an efficiency of 15."""
FIRST_STEP_N, STEP = 50.0, 1.10
"""The first step of a pull, and the ratio of one to the next."""
CAPPED = 0.15
"""Share of readings beyond what the boat pulls."""
MOST_ROWS, MOST_SHARE = 260, 0.8
"""Tables are thinned to so many readings and to this share of them, so that cells hold unequal numbers."""
PARTS = 5
"""In how many refits every cell is hidden once."""


@dataclass(frozen=True)
class Logged:
    """A campaign, what the model is told of it, the same with every reading as it truly was, and the cap."""

    campaign: Campaign
    inputs: xr.Dataset
    truth: xr.Dataset
    limit_n: float


def log_campaign(table: Table, seed: int, said: bool = False) -> Logged:
    """Return a table as a campaign: thinned, scaled, read in steps, capped as by a boat that pulls no more.

    ``said``: the column `set` says yes in every row; else it is blank, as of a tester who did not write it.
    """
    readings = _thinned(table, seed)
    scale = TYPICAL_N / float(np.exp(np.log(readings.loc[readings["high"] > 0, "high"]).median()))
    low, high = readings["low"].to_numpy() * scale, readings["high"].to_numpy() * scale
    limit = float(np.quantile(low, 1.0 - CAPPED))
    held, released = _in_steps(low, high, limit)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _write(folder / "anchors.csv", _members(readings, "anchor", mass_kg=MASS_KG))
        _write(folder / "seabeds.csv", _members(readings, "seabed", soil="sand"))
        _write(folder / "trials.csv", _pulls(readings, held, released, "yes" if said else ""))
        campaign = read_campaign(folder)
    order = campaign.trials.index.str.removeprefix("t").astype(int)
    true_trials = campaign.trials.assign(held_n=low[order], released_n=high[order], stopped_by="anchor")
    truth = lay_out(replace(campaign, trials=true_trials))
    return Logged(campaign, lay_out(campaign), truth, limit)


def _thinned(table: Table, seed: int) -> pd.DataFrame:
    """Return the readings that are kept, every anchor and seabed among them."""
    readings = read_table(table)
    generator = np.random.default_rng([seed, zlib.crc32(table.name.encode())])
    number = min(MOST_ROWS, round(MOST_SHARE * len(readings)))
    places = np.sort(generator.permutation(len(readings))[:number])
    return readings.iloc[places].reset_index(drop=True)


def _in_steps(
    low: NDArray[np.float64], high: NDArray[np.float64], limit: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the last step that held, 0 for none, and the one that did not, infinite beyond the limit [N]."""
    steps = FIRST_STEP_N * STEP ** np.arange(200)
    ladder = np.concatenate([[0.0], steps[steps < limit], [limit, np.inf]])
    held = ladder[np.searchsorted(ladder, low, side="right") - 1]
    return held, ladder[np.searchsorted(ladder, np.maximum(high, low * (1.0 + 1e-9)))]


def _members(readings: pd.DataFrame, kind: str, **same: object) -> list[dict[str, object]]:
    return [{kind: label, **same} for label in sorted(set(readings[kind]))]


def _pulls(
    readings: pd.DataFrame, held: NDArray[np.float64], released: NDArray[np.float64], did_set: str
) -> list[dict[str, object]]:
    return [
        {
            "trial": f"t{place}",
            "anchor": row.anchor,
            "seabed": row.seabed,
            "test": "pull",
            "visit": row.visit,
            "held_n": round(held[place], 3) or "",
            "released_n": "" if np.isinf(released[place]) else round(released[place], 3),
            "stopped_by": "boat_limit" if np.isinf(released[place]) else "",
            "load_at": "anchor",
            "set": did_set,
        }
        for place, row in enumerate(readings.itertuples())
    ]


def _write(path: Path, rows: Sequence[Mapping[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def parts_of(inputs: xr.Dataset, seed: int) -> list[tuple[NDArray[np.bool_], NDArray[np.bool_]]]:
    """Return what each refit hides: all pulls of a fifth of the cells, and one pull of each of other cells.

    Over the refits each cell is hidden once, and one pull of each cell of two or more.

    Returns
    -------
    list of (cells, readings), arrays of bool, shape (trial,)
    """
    generator = np.random.default_rng([seed, 7])
    cell = inputs["anchor_of"].to_numpy() * inputs.sizes["seabed"] + inputs["seabed_of"].to_numpy()
    names, first, count = np.unique(cell, return_index=True, return_counts=True)
    part = generator.permutation(np.arange(len(names)) % PARTS)
    single = np.zeros(len(cell), dtype=bool)
    single[first[count > 1]] = True
    of_pull = part[np.searchsorted(names, cell)]
    return [(of_pull == number, single & (of_pull == (number + 1) % PARTS)) for number in range(PARTS)]

"""What a day's pulls read in an invented world, and the log with the day in it.

Every log has the same number of rows, visits and spots, so that one compiled model serves them all: rows that
no day fills are hidden from the fit.
"""

import copy
import tempfile
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from days.rivals import Tests
from holdcast.campaign import read_campaign
from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.sampler.refitting import hide_pulls
from invented.log import FOULED_LOG, Log, draw_readings, write_campaign
from invented.setting import SLIDING_SCATTER, in_runs
from invented.truth import ANCHORS, TAIL_FREEDOM, VISIT_SPREAD, Truth, World

__all__ = ["pulled", "read_log", "seen_after"]

ROWS, SPOTS, VISITS = 44, 30, 12  # that a log has more than before the day, filled or hidden


def pulled(world: World, truth: Truth, log: Log, tests: Tests, seed: list[int]) -> Log:
    """Return the pulls of a day.

    A seabed's visit and a cell's spot and scatter come from streams of their own, so that two days that
    pull the same anchor in the same seabed read the same.
    """
    first = int(log.visit_of.max()) + 1
    visits = {seabed: first + at for at, seabed in enumerate(sorted({seabed for _, seabed in tests}))}
    parts = [_test(world, truth, cell, tests[cell], visits[cell[1]], seed) for cell in sorted(tests)]
    return Log(*(np.concatenate([getattr(part, each.name) for part in parts]) for each in fields(Log)))


def _test(world: World, truth: Truth, cell: tuple[int, int], pulls: int, visit: int, seed: list[int]) -> Log:
    (anchor, seabed), generator = cell, np.random.default_rng([*seed, 1, *cell])
    shared = np.random.default_rng([*seed, 0, seabed]).normal(0.0, VISIT_SPREAD)
    shared += world.spot_spread * generator.normal()
    fouled = generator.random(pulls) < world.fouled
    load = truth.log_capacity[anchor, seabed] + shared + fouled * FOULED_LOG
    load = load + truth.scatter[seabed] * generator.standard_t(TAIL_FREEDOM, pulls)
    did_set = np.ones(pulls, dtype=bool)
    if truth.setting is not None:
        chance = np.full(pulls, truth.setting.sets[cell])
        did_set = in_runs(chance, np.zeros(pulls, dtype=int), generator)
        slides = truth.setting.sliding[cell] + generator.normal(0.0, SLIDING_SCATTER, pulls)
        load = np.where(did_set, load, slides)
    held, released = draw_readings(np.exp(load), world.boat_limit_n, generator)
    whole = [np.full(pulls, value) for value in (anchor, seabed, visit)]
    return Log(*whole, held, released, load, np.full(pulls, shared), fouled, did_set)


def _filler(log: Log, day: Log | None) -> Log:
    """Return the rows that no day fills, each new visit with a spot, then spots on the last visit."""
    base = int(log.visit_of.max()) + 1
    pulls = 0 if day is None else len(day.anchor_of)
    spots = 0 if day is None else len({*zip(day.anchor_of.tolist(), day.seabed_of.tolist(), strict=True)})
    visits = 0 if day is None else len(set(day.visit_of.tolist()))
    place = np.minimum(np.arange(ROWS - pulls), SPOTS - spots - 1)
    visit = base + visits + np.minimum(place, VISITS - visits - 1)
    number, none = len(place), np.zeros(len(place))
    anchor = place % len(ANCHORS)
    held = np.full(number, 1000.0)
    return Log(
        *(anchor, np.zeros(number, dtype=int), visit, held, np.full(number, np.inf), none, none),
        *(np.zeros(number, dtype=bool), np.ones(number, dtype=bool)),
    )


def read_log(world: World, truth: Truth, log: Log, generator: np.random.Generator) -> Campaign:
    """Return a log as the program reads it; the generator is left as it was."""
    with tempfile.TemporaryDirectory() as folder:
        write_campaign(Path(folder), world, truth, log, copy.deepcopy(generator))
        return read_campaign(Path(folder))


def seen_after(
    world: World, truth: Truth, log: Log, day: Log | None, generator: np.random.Generator
) -> xr.Dataset:
    """Return what a fit is told after a day, or before any; shapes are always the same."""
    parts = [log, *([] if day is None else [day]), _filler(log, day)]
    whole = Log(*(np.concatenate([getattr(part, each.name) for part in parts]) for each in fields(Log)))
    inputs = lay_out(read_log(world, truth, replace(whole), generator))
    filler = {f"t{row:03d}" for row in range(len(whole.held_n) - len(parts[-1].held_n), len(whole.held_n))}
    hidden: NDArray[np.bool_] = np.isin(inputs["trial"].to_numpy(), sorted(filler))
    return hide_pulls(inputs, hidden)

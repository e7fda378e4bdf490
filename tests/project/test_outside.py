"""Published tables as campaigns: what is logged holds what is true, and each cell is hidden once."""

from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from holdcast.capacity.likelihood.kinds import ABOVE, BELOW
from holdcast.evaluate.predictive import HeldOut
from outside.campaigns import CAPPED, log_campaign, parts_of
from outside.page import page, readings_frame
from outside.scores import score_cells, score_readings
from outside.tables import TABLES, read_table

BY_NAME = {table.name: table for table in TABLES}


def test_a_table_of_variety_trials_is_read_as_published() -> None:
    """Barley: 10 varieties, 6 sites, 2 years; the first reading is 27.0 (data lattice::barley, read)."""
    barley = read_table(BY_NAME["barley"])
    assert (len(barley), barley["anchor"].nunique(), barley["seabed"].nunique()) == (120, 10, 6)
    assert barley.loc[0, "low"] == barley.loc[0, "high"] == pytest.approx(27.0)
    counts = read_table(BY_NAME["solder"])
    assert (counts["high"] - counts["low"] == 1.0).all()
    assert (counts["low"] == 0.0).sum() == 285


@pytest.mark.parametrize("name", ["barley", "fruits of cress"])
def test_what_is_logged_holds_what_is_true(name: str) -> None:
    logged = log_campaign(BY_NAME[name], 1)
    inputs, truth = logged.inputs, logged.truth
    kind, lower, upper = (inputs[each].to_numpy() for each in ("kind", "lower", "upper"))
    true_low = np.where(truth["kind"] == BELOW, -np.inf, truth["lower"].to_numpy())
    assert (np.where(kind == BELOW, -np.inf, lower) <= true_low + 1e-5).all()
    assert (np.where(kind == ABOVE, np.inf, upper) >= truth["upper"].to_numpy() - 1e-5).all()
    assert abs((kind == ABOVE).mean() - CAPPED) < 0.02
    assert set(inputs["trial"].to_numpy()) == set(truth["trial"].to_numpy())


def test_each_cell_is_hidden_once_and_one_reading_of_each_that_has_several() -> None:
    inputs = log_campaign(BY_NAME["barley"], 1).inputs
    cell = inputs["anchor_of"].to_numpy() * 100 + inputs["seabed_of"].to_numpy()
    parts = parts_of(inputs, 1)
    assert (sum(cells.astype(int) for cells, _ in parts) == 1).all()
    readings = sum(readings.astype(int) for _, readings in parts)
    names, counts = np.unique(cell, return_counts=True)
    assert sorted(cell[readings == 1]) == sorted(names[counts > 1])
    for cells, single in parts:
        assert not set(cell[cells]) & set(cell[single])


def said_of(truth: np.ndarray, middle: float, spread: float) -> HeldOut:
    """What a normal prediction says of exact loads, in 4,000 draws."""
    load = np.random.default_rng(1).normal(middle, spread, (4000, len(truth)))
    below = np.broadcast_to(norm.cdf(truth, middle, spread), load.shape)
    ends = np.broadcast_to(truth, load.shape)
    return HeldOut(
        np.broadcast_to(norm.logpdf(truth, middle, spread), load.shape), below, below, ends, ends, load
    )


def outcome_of(part: int, spread: float) -> dict[str, Any]:
    """One refit's outcome: two pulls in each of ten hidden cells, truly of spread 1."""
    logged = log_campaign(BY_NAME["barley"], 1)
    truth = np.random.default_rng([2, part]).normal(0.0, 1.0, 20)
    cell = np.arange(20) // 2
    rows = logged.truth.isel(trial=slice(20))
    rows = rows.assign(lower=("trial", truth), upper=("trial", truth))
    methods = {
        method: {
            "readings": score_readings(said_of(truth, 0.0, sd)),
            "cells": score_cells(said_of(truth, 0.0, sd), cell, rows),
        }
        for method, sd in (("holdcast", 1.0), ("formula", spread))
    }
    return {
        "table": "barley", "part": part, "seed": 1, "ok": part > 0, "attempts": 1, "doubts": 0, "pulls": 70,
        "seconds": 1.0, "anchor": (cell % 5).tolist(), "seabed": (cell // 5).tolist(),
        "of_hidden_cell": [True] * 20,
        "beyond_cap": [at % 4 == 0 for at in range(20)], "cells": [[at % 5, at // 5] for at in range(10)],
        "methods": methods, "model": "0",
    }  # fmt: skip


def test_scores_tell_true_bands_from_narrow_ones() -> None:
    outcomes = [outcome_of(part, 0.3) for part in range(20)]
    frame = readings_frame(outcomes).groupby("method")
    inside = frame["inside_90"].mean()
    assert inside["holdcast"] == pytest.approx(0.9, abs=0.04)
    # A band of 0.3 · 1.645 either side of readings of spread 1 holds 38% (computed).
    assert inside["formula"] == pytest.approx(2 * norm.cdf(0.3 * 1.6449) - 1, abs=0.05)
    gain = frame["log_score"].mean()
    assert gain["holdcast"] > gain["formula"] + 1.0
    mean_of_two = score_cells(
        said_of(np.array([1.0, 0.6]), 0.0, 1.0),
        np.array([0, 0]),
        log_campaign(BY_NAME["barley"], 1)
        .truth.isel(trial=slice(2))
        .assign(lower=("trial", np.array([1.0, 0.6])), upper=("trial", np.array([1.0, 0.6]))),
    )
    # Of independent draws the mean's spread is 1/√2: 0.8 · √2 deviations out (computed).
    assert mean_of_two["pit"][0] == pytest.approx(norm.cdf(0.8 * np.sqrt(2.0)), abs=0.02)
    text = page(outcomes)
    assert "| barley | 400 |" in text
    assert "Without refits of a bad verdict" in text

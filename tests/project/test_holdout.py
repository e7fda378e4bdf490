"""The bands of what was never pulled: scores, clustered errors, what is hidden, and that runs go on."""

import argparse
import importlib
import json
import math
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from holdcast.capacity.inputs.layout import lay_out
from holdcast.evaluate.outcomes import read_outcomes

DOCS = Path(__file__).resolve().parents[2] / "docs"


@pytest.fixture(scope="module")
def table() -> ModuleType:
    return importlib.import_module("pages.holdout_table")


@pytest.fixture(scope="module")
def layout() -> ModuleType:
    return importlib.import_module("simulated.holdout_layout")


@pytest.fixture(scope="module")
def scores() -> ModuleType:
    return importlib.import_module("pages.holdout_scores")


@pytest.fixture(scope="module")
def holdout() -> ModuleType:
    return importlib.import_module("holdout")


def told(covered: int, cells: int = 10) -> dict[str, Any]:
    """Bands from 0 to 2 (50%: 0.5 to 1.5) about a median of 1; the truth is 1 where covered, else 2.5."""
    truth = [1.0] * covered + [2.5] * (cells - covered)
    bands = [[end] * cells for end in (0.0, 0.5, 1.0, 1.5, 2.0)]
    return {"truth": truth, "quantiles": bands, "below": [0.5] * cells, "log_score": [-1.0] * cells}


def outcome(number: int, covered: int, seed: int = 1, model: str = "m1", ok: bool = True) -> dict[str, Any]:
    wide = [[end] * 10 for end in (-2.0, 0.5, 1.0, 1.5, 2.0)]
    kind = {
        "cells": [["A-6", "basin"]] * 10,
        "capacity": told(covered),
        "pull": told(10),
        "predict": {"capacity": wide, "pull": wide},
    }
    return {
        "campaign": number,
        "seed": seed,
        "model": model,
        "hidden": {"size": "A-15", "anchor": "F-7", "seabed": "basin" if number % 2 else "creek"},
        "mass_ratio": 1.667,
        "kinds": [10, 0, 5, 85],
        "verdict": {"ok": ok, "sentences": [], "attempts": 1 + (not ok), "divergences": 2, "draws": 1000,
                    "ess_bulk_min": 300.0 + number, "ess_tail_min": 250.0, "rhat_max": 1.01},
        "scores": dict.fromkeys(("size", "anchor", "seabed"), kind),
        "seconds": 12.0,
    }  # fmt: skip


def test_coverage_and_its_clustered_error_by_hand(table: ModuleType) -> None:
    """Shares 1.0, 0.8, 0.6: mean 0.8, sd 0.2, so the standard error is 0.2 / sqrt(3)."""
    frame = table.cells([outcome(0, 10), outcome(1, 8), outcome(2, 6)])
    refit = frame[(frame["path"] == "refit") & (frame["kind"] == "size") & (frame["quantity"] == "capacity")]
    made = table.summary(refit)
    assert (made["campaigns"], made["cells"]) == (3, 30)
    assert made["inside_90"] == pytest.approx((0.8, 0.2 / math.sqrt(3.0)))
    assert made["inside_50"] == pytest.approx((0.8, 0.2 / math.sqrt(3.0)))
    assert (made["width_90"], made["width_50"], made["log_score"]) == (2.0, 1.0, -1.0)
    assert made["error"] == pytest.approx(math.sqrt(6 * 1.5**2 / 30))


def test_public_prediction_is_scored_with_its_own_bands(table: ModuleType) -> None:
    frame = table.cells([outcome(0, 8), outcome(1, 8)])
    public = frame[(frame["path"] == "predict") & (frame["quantity"] == "capacity")]
    assert (public["width_90"] == 4.0).all()
    assert public["log_score"].isna().all()
    assert "90% bands are 2.000 times as wide" in table.paths_differ(frame)
    assert "medians differ by +0.000" in table.paths_differ(frame)


@pytest.mark.parametrize(
    ("share", "error", "campaigns", "said"),
    [
        (0.90, 0.01, 100, "met"),
        (0.86, 0.006, 100, "met"),
        (0.86, 0.004, 100, "NOT MET"),
        (0.945, 0.007, 100, "NOT MET"),
        (0.945, 0.008, 100, "met"),
        (1.0, 0.0, 99, "too few to tell"),
    ],
)
def test_aim_allows_two_standard_errors(
    table: ModuleType, share: float, error: float, campaigns: int, said: str
) -> None:
    assert table.verdict_on_aim((share, error), campaigns, 100) == said


def test_page_says_what_it_rests_on(table: ModuleType) -> None:
    text = table.page([outcome(0, 10), outcome(1, 8), outcome(2, 6, ok=False)], "python it")
    assert max(len(line) for line in text.splitlines() if not line.startswith("|")) <= 110
    text = " ".join(text.split())
    assert "invented: nobody pulled an anchor" in text
    assert "python it" in text
    assert "| a seabed hidden | 3 | 30 | 80.0% ± 11.5 | 2.00 (×7.39) |" in text
    assert "still bad at the last attempt: 1 (campaign 2)" in text
    assert "1 of 3 refits needed a second attempt" in text
    assert "6 in 3000 draws, at most 2 in one refit" in text
    assert "300 (bulk), 250 (tails)" in text
    assert "| creek | 2 | 20 |" in text
    assert "| larger, 1.6 to 1.7 times | 3 |" in text
    assert "smaller, 1/3" not in text
    assert "85% intervals, 10% exact, 5% open above, 0% open below" in text


def test_a_figure_that_is_no_number_is_not_passed_over(table: ModuleType) -> None:
    broken = outcome(0, 10)
    broken["verdict"] = {**broken["verdict"], "ess_bulk_min": None}
    assert "nan (bulk)" in table.sampler_words([broken, outcome(1, 9)])


def test_scores_of_normal_draws(scores: ModuleType) -> None:
    """Reference: quantiles and log density of the standard normal, from scipy; a kernel widens it."""
    draws = np.random.default_rng(1).standard_normal((40_000, 2)) + np.array([0.0, 3.0])
    made = scores.score_draws(np.array([0.5, 3.0]), draws)
    wanted = stats.norm.ppf(scores.QUANTILES)[:, None] + np.array([0.0, 3.0])
    assert np.array(made["quantiles"]) == pytest.approx(wanted, abs=0.03)
    assert made["below"] == pytest.approx([stats.norm.cdf(0.5), 0.5], abs=0.01)
    assert made["log_score"] == pytest.approx(stats.norm.logpdf([0.5, 0.0]), abs=0.02)


def test_a_truth_far_from_all_draws_still_has_a_number(scores: ModuleType) -> None:
    made = scores.score_draws(np.array([50.0]), np.random.default_rng(1).standard_normal((500, 1)))
    assert made["log_score"][0] < -1000.0
    json.dumps(made, allow_nan=False)


def test_every_campaign_hides_three_things_and_scores_each_cell_once(layout: ModuleType) -> None:
    campaign = layout.make_campaign()
    inputs, tables = lay_out(campaign), campaign.anchors
    per_design = tables["design"].value_counts()
    pairs, seabeds = set(), []
    for number in range(100):
        hidden = layout.choose_hidden(number)
        assert per_design[tables["design"][hidden.size]] == 3
        assert per_design[tables["design"][hidden.anchor]] == 1
        family = tables["mass_kg"][tables["design"] == tables["design"][hidden.size]]
        assert tables["mass_kg"][hidden.size] in (family.min(), family.max())
        cells = layout.scored_cells(inputs, hidden)
        assert [len(cells[kind]) for kind in layout.KINDS] == [7, 7, 18]
        flat = [cell for kind in layout.KINDS for cell in cells[kind]]
        assert len(set(flat)) == len(flat)
        gone = layout.hidden_pulls(inputs, hidden)
        trials = campaign.trials
        pulled = set(zip(trials["anchor"][~gone], trials["seabed"][~gone], strict=True))
        assert not pulled & set(flat)
        assert {anchor for anchor, _ in pulled} == set(tables.index) - {hidden.size, hidden.anchor}
        pairs.add((hidden.size, hidden.seabed))
        seabeds.append(hidden.seabed)
    assert len(pairs) == 6 * 8
    assert min(pd.Series(seabeds).value_counts()) == 12
    assert inputs.sizes["trial"] == 150


def test_mass_ratio_is_to_the_nearest_size_seen(layout: ModuleType) -> None:
    campaign = layout.make_campaign()
    ratio = {size: layout.mass_ratio(campaign, layout.Hidden(size, "F-7", "bar")) for size in ("B-25", "C-4")}
    assert ratio == pytest.approx({"B-25": 2.5, "C-4": 1.0 / 3.0})


def test_campaigns_of_this_seed_and_model_are_not_run_again(
    holdout: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(holdout, "model_digest", lambda: "m1")
    done = [outcome(0, 9), outcome(2, 9), outcome(1, 9, seed=7), outcome(3, 9, model="m0")]
    assert holdout.missing_campaigns(5, 1, done) == [1, 3, 4]

    def refuse(*_: object) -> None:
        raise AssertionError("nothing is missing, so nothing may be compiled")

    monkeypatch.setattr(holdout, "prepare", refuse)
    asked = argparse.Namespace(campaigns=1, seed=1, out=tmp_path / "holdout.jsonl")
    holdout.run_missing(asked, done)
    with pytest.raises(AssertionError, match="nothing is missing"):
        holdout.run_missing(argparse.Namespace(campaigns=2, seed=1, out=asked.out), done)


def test_command_shown_names_no_folder_of_this_machine(holdout: ModuleType, tmp_path: Path) -> None:
    asked = argparse.Namespace(out=tmp_path / "a.jsonl", table=DOCS / "b.md", seed=5)
    assert holdout.command(asked, 12) == (
        "python scripts/evidence/holdout.py --campaigns 12 --out a.jsonl --table docs/b.md --seed 5"
    )


def test_table_never_mixes_versions_of_the_model(
    holdout: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    runs = importlib.import_module("simulated.campaign_runs")
    monkeypatch.setattr(runs, "model_digest", lambda: "m1")
    done = [outcome(1, 9), outcome(0, 9), outcome(0, 9, model="m0"), outcome(2, 9, seed=7)]
    assert [each["campaign"] for each in runs.of_one_version(done, 1)] == [1, 0]
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(runs, "model_digest", lambda: "m2")
    assert [each["model"] for each in runs.of_one_version(done, 1)] == ["m0"]
    assert "outcomes are of version m0 of the model, the source is now m2" in capsys.readouterr().err
    assert runs.of_one_version(done, 99) == []


def test_each_campaign_is_kept_with_its_version_before_the_next_is_run(
    holdout: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    runs, file = importlib.import_module("simulated.campaign_runs"), tmp_path / "new" / "outcomes.jsonl"
    monkeypatch.setattr(runs, "model_digest", lambda: "m1")

    def run(number: int) -> dict[str, object]:
        assert len(read_outcomes(file)) == number
        return {"campaign": number}

    runs.run_each([0, 1, 2], run, file, lambda each: f"campaign {each['campaign']}")
    assert read_outcomes(file) == [{"campaign": number, "model": "m1"} for number in range(3)]
    assert "3 of 3: campaign 2; 0.0 min, about 0 to go" in capsys.readouterr().err

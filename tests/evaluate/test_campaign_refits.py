"""Evaluating a campaign from its files to its table: with made-up draws quickly, and once for real."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import typer
import xarray as xr

from holdcast.campaign import Campaign
from holdcast.capacity.sampler.sampling import Effort
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.commands.evaluate import evaluate, left_out_sentence, outcomes_file
from holdcast.commands.folders.locking import only_writer
from holdcast.commands.shared.common import InputError
from holdcast.evaluate import campaign_refits
from holdcast.evaluate.campaign_refits import evaluate_campaign
from holdcast.evaluate.refit import Refit, prepare, refit

Draws = Callable[..., xr.Dataset]


@pytest.fixture
def made_up(monkeypatch: pytest.MonkeyPatch, draws: Draws) -> list[xr.Dataset]:
    """Replace compiling and sampling; the list holds what each refit was told."""
    told: list[xr.Dataset] = []

    def stand_in(refitter: object, inputs: xr.Dataset, *, seed: int) -> Refit:
        told.append(inputs)
        good = len(told) != 3
        return Refit(
            draws(7.3, 0.3, spread=0.1), Verdict(good, ("the chains disagree",), 0, 1.0, 500, 500, 0.9, 800)
        )

    monkeypatch.setattr(campaign_refits, "prepare", lambda inputs, priors: None)
    monkeypatch.setattr(campaign_refits, "refit", stand_in)
    return told


def test_only_missing_refits_are_run(campaign: Campaign, tmp_path: Path, made_up: list[xr.Dataset]) -> None:
    file = tmp_path / "a folder" / "refits.jsonl"
    first = evaluate_campaign(campaign, "designs", file, most=1, seed=5)
    assert [outcome["hide"] for outcome in first] == ["nothing", "designs"]
    assert evaluate_campaign(campaign, "designs", file, most=1, seed=5) == first
    assert len(made_up) == 2
    more = evaluate_campaign(campaign, "designs", file, most=3, seed=5)
    assert more[:2] == first
    assert sorted(outcome["label"] for outcome in more[1:]) == ["a", "b", "c"]
    assert len(made_up) == 4
    other = evaluate_campaign(campaign, "seabeds", file, most=1, seed=6)
    assert [outcome["hide"] for outcome in other] == ["nothing", "seabeds"]
    assert len(file.read_text(encoding="utf-8").splitlines()) == 6


def test_the_refits_told_are_those_asked_for(
    campaign: Campaign, tmp_path: Path, made_up: list[xr.Dataset]
) -> None:
    file, told = tmp_path / "refits.jsonl", []
    evaluate_campaign(campaign, "designs", file, most=2, seed=5, progress=told.append)
    assert told[0].endswith("most of a minute the first time, a few seconds later")
    assert told[1].startswith("the whole log, nothing hidden")
    assert [line.split(":")[0] for line in told[2:]] == ["refit 1 of 2", "refit 2 of 2"]
    told.clear()
    evaluate_campaign(campaign, "designs", file, most=3, seed=5, progress=told.append)
    assert [line.split(":")[0] for line in told[1:]] == ["refit 1 of 1"]


def test_a_refit_is_not_told_what_it_is_scored_on(
    campaign: Campaign, inputs: xr.Dataset, tmp_path: Path, made_up: list[xr.Dataset]
) -> None:
    outcomes = evaluate_campaign(campaign, "seabeds", tmp_path / "refits.jsonl", most=9, seed=5)
    assert made_up[0].identical(inputs)
    for outcome, told in zip(outcomes[1:], made_up[1:], strict=True):
        trials = outcome["pulls"]["trial"]
        assert set(outcome["pulls"]["seabed"]) == {outcome["label"]}
        assert np.all(told["upper"].sel(trial=trials) == 1000.0)
        kept = ~np.isin(inputs["trial"].to_numpy(), trials)
        assert np.array_equal(told["upper"].to_numpy()[kept], inputs["upper"].to_numpy()[kept])


def test_command_shows_shares_marks_bad_refits_and_keeps_cautions(
    campaign: Campaign, tmp_path: Path, made_up: list[xr.Dataset], capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "mine"
    shutil.copytree(campaign.source, folder)
    with pytest.raises(typer.Exit) as stopped:
        evaluate(folder, "designs", 2, 5)
    assert stopped.value.exit_code == 4
    shown = capsys.readouterr()
    assert shown.out.startswith("UNRELIABLE")
    assert "UNRELIABLE: the refit with designs hidden (" in shown.err
    for words in ("in 90% band", "every line ought to be 10%", "PSIS-LOO", "not a safety factor"):
        assert words in " ".join(shown.out.split())
    assert outcomes_file(folder) == folder / "evaluation" / "refits.jsonl"
    with pytest.raises(typer.Exit):
        evaluate(folder, "designs", 2, 5, as_json=True)
    told = json.loads(capsys.readouterr().out)
    assert told["hidden"][0]["hidden"] == "designs"
    assert 0.0 <= told["hidden"][0]["mean"]["inside_90"] <= 1.0
    assert [found["by"] for found in told["left_out"]] == ["pulls", "cells", "visits", "designs", "seabeds"]


def test_two_runs_of_one_campaign_do_not_mix(
    campaign: Campaign, tmp_path: Path, made_up: list[xr.Dataset]
) -> None:
    folder = tmp_path / "mine"
    shutil.copytree(campaign.source, folder)
    file = outcomes_file(folder)
    file.parent.mkdir()
    with (
        only_writer(file.with_name(f".{file.name}-lock")),
        pytest.raises(OSError, match="another holdcast run"),
    ):
        evaluate(folder, "designs", 1, 5)
    assert not made_up
    twice = evaluate_campaign(campaign, "designs", file, most=1, seed=5)
    file.write_text(2 * file.read_text(encoding="utf-8"), encoding="utf-8")
    assert evaluate_campaign(campaign, "designs", file, most=1, seed=5) == twice


LEFT_OUT = {"by": "cells", "groups": 40, "log_score": -1.5, "log_score_error": 0.1}


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ({"unreliable": 0}, "leaving out cells one at a time: log score -1.50 ± 0.10 a pull."),
        ({"unreliable": 2}, "log score -1.50 ± 0.10 a pull, roughly: 2 of 40 move the fit too much"),
        (
            {"unreliable": 3},
            "cannot be told, 3 of 40 move the fit too much (Pareto k above 0.7): --hide cells",
        ),
        (
            {"unreliable": 3, "by": "visits"},
            "cannot be told, 3 of 40 move the fit too much (Pareto k above 0.7).",
        ),
    ],
)
def test_what_leaving_out_says_without_refits_and_when_it_says_nothing(
    found: dict[str, object], said: str
) -> None:
    assert said in left_out_sentence(LEFT_OUT | found)


def test_command_refuses_a_foreign_file(campaign: Campaign, tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    shutil.copytree(campaign.source, folder)
    outcomes_file(folder).parent.mkdir()
    outcomes_file(folder).write_text("a diary\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 1, is not an outcome"):
        evaluate(folder, "cells", 1, 5)


@pytest.mark.fit
def test_one_compiled_model_serves_all(inputs: xr.Dataset, other_inputs: xr.Dataset) -> None:
    """Hidden pulls widen their seabed's bands; other data move the cells; labels are the data's own."""
    from holdcast.capacity.model.priors import default_priors
    from holdcast.capacity.sampler.refitting import hide_pulls

    refitter = prepare(inputs, default_priors())
    effort = (Effort(200, 300, 0.9, chains=2),)
    full = refit(refitter, inputs, seed=1, efforts=effort).posterior["log_capacity"]
    again = refit(refitter, inputs, seed=1, efforts=effort).posterior["log_capacity"]
    assert np.array_equal(full, again)
    hidden = inputs["seabed"].to_numpy()[inputs["seabed_of"].to_numpy()] == "bar"
    less = refit(refitter, hide_pulls(inputs, hidden), seed=1, efforts=effort).posterior["log_capacity"]
    widened = less.std(("chain", "draw")) / full.std(("chain", "draw"))
    assert np.all(widened.sel(seabed="bar") > 1.5)
    assert np.all(widened.sel(seabed="mud") < 1.5)
    heavier = other_inputs.assign(lower=other_inputs["lower"] + 1.0, upper=other_inputs["upper"] + 1.0)
    renamed = heavier.assign_coords(seabed=["x", "y", "z"])
    moved = refit(refitter, renamed, seed=1, efforts=effort).posterior["log_capacity"]
    assert list(moved["seabed"].values) == ["x", "y", "z"]
    rise = moved.mean(("chain", "draw")).to_numpy() - full.mean(("chain", "draw")).to_numpy()
    assert 0.5 < rise.mean() < 1.5

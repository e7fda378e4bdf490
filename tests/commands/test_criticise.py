"""``holdcast criticise`` on saved results: files whole, bad fits marked, variants of the same log only."""

import csv
import html
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from resaved import resaved

from holdcast.capacity import load, variants
from holdcast.commands.folders.results import results_target
from holdcast.show.figures import criticism as criticism_figure


@pytest.fixture
def results(published: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the whole campaign with its results; drawing is tested elsewhere."""
    monkeypatch.setattr(criticism_figure, "save_criticism_figures", lambda *_, **__: [])
    return Path(shutil.copytree(published.parent, tmp_path / "copy")) / "results"


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_small_log_is_told_what_could_not_be_looked_at(results: Path, run: Callable) -> None:
    ended = run("criticise", results)
    assert ended.status == 0
    assert "4 pulls were compared with what the model expects of each" in ended.out
    assert "No trend could be looked for: the log is too small." in ended.out
    assert "not a safety factor" in ended.out
    pulls = rows_of(results / "residuals.csv")
    assert [(row["trial"], row["test"]) for row in pulls] == [
        *((trial, "pull") for trial in "1234"),
        ("6", "reset"),
    ]
    assert pulls[3]["pit_low"] == pulls[3]["pit_high"] and pulls[2]["pit_high"] == "1"
    assert {row["check"] for row in rows_of(results / "criticism.csv")} == {
        *("slope", "bow", "spread", "tails", "chance")
    }
    assert results_target(results) == results  # a new fit may still replace the folder


def test_machines_get_the_same_rows(results: Path, run: Callable) -> None:
    answer = json.loads(run("criticise", results, "--json").out)
    assert answer["reliable"] is True and len(answer["rows"]) == len(rows_of(results / "criticism.csv"))
    assert answer["rows"][0]["p_value"] is None


def test_a_bad_verdict_comes_first(results: Path, run: Callable) -> None:
    resaved(results, ok=False)
    assert run("criticise", results).out.startswith("UNRELIABLE")


def test_variants_are_refitted_and_compared(
    results: Path, run: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []

    def refit(campaign: object, variant: str, *, seed: int, progress: object) -> object:
        asked.append((variant, seed))
        return load(results)

    monkeypatch.setattr(variants, "fit_variant", refit)
    ended = run("criticise", results, "--variants")
    # No anchor of this log has a feature, so the model without features is the model.
    assert asked == [("without penetration", load(results).tree.attrs["seed"])]
    assert "no anchor of the log has a feature" in ended.err
    assert "predicts pulls left out as well as the full model" in " ".join(ended.out.split())
    models = [row for row in rows_of(results / "criticism.csv") if row["check"] == "model"]
    assert [row["about"] for row in models] == ["full model", "without penetration"]


def models_of(folder: Path) -> list[dict[str, str]]:
    return [row for row in rows_of(folder / "criticism.csv") if row["check"] == "model"]


@pytest.mark.parametrize("quick", [False, True])
def test_a_comparison_of_models_is_kept_as_long_as_the_fit(
    results: Path, run: Callable, monkeypatch: pytest.MonkeyPatch, quick: bool
) -> None:
    resaved(results, approximate=quick)
    monkeypatch.setattr(variants, "fit_variant", lambda *_, **__: load(results))
    assert run("criticise", results, "--variants").status == 0
    whole = (results / "criticism.csv").read_text()
    ended = run("criticise", results)
    assert (results / "criticism.csv").read_text() == whole and len(models_of(results)) == 2
    assert "keeps the comparison of models of an earlier run with --variants" in ended.err
    answer = json.loads(run("criticise", results, "--json").out)
    assert [row["about"] for row in answer["rows"][-2:]] == ["full model", "without penetration"]
    assert answer["rows"][-1]["weight"] > 0.0 and answer["rows"][-1]["p_value"] is None

    resaved(results, capacity=0.1)
    ended = run("criticise", results)
    assert ended.status == 0 and models_of(results) == [] and "keeps the comparison" not in ended.err
    assert "was of another fit, and is gone" in ended.err
    assert "was of another fit" not in run("criticise", results).err


def test_the_page_tells_what_was_found_and_the_models_compared(
    results: Path, run: Callable, monkeypatch: pytest.MonkeyPatch, unplotted: None
) -> None:
    def page() -> str:
        assert run("report", results).status == 0
        return (results / "report.html").read_text(encoding="utf-8")

    found = json.loads(run("criticise", results, "--json").out)["sentences"]
    written = page()
    assert len(found) > 2 and all(html.escape(text, quote=False) in written for text in found)
    assert "Scatter by seabed" in written and "Simpler models" not in written
    monkeypatch.setattr(variants, "fit_variant", lambda *_, **__: load(results))
    run("criticise", results, "--variants")
    written = page()
    assert "Simpler models" in written and "<td>without penetration</td>" in written
    resaved(results, seed=5)  # of other random places, so another look
    assert "Simpler models" not in page()


@pytest.mark.parametrize("text", ["", "a diary\n", "check,about\nmodel,full model\n", '"'])
def test_a_file_that_is_no_criticism_is_written_anew(results: Path, run: Callable, text: str) -> None:
    (results / "criticism.csv").write_text(text)
    assert run("criticise", results).status == 0
    assert rows_of(results / "criticism.csv") and models_of(results) == []


def test_a_variant_that_cannot_be_relied_on_is_left_out(
    results: Path, run: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    fit = load(results)
    bad = replace(fit, verdict=replace(fit.verdict, ok=False))
    monkeypatch.setattr(variants, "fit_variant", lambda *_, **__: bad)
    ended = run("criticise", results, "--variants")
    assert ended.status == 0 and "UNRELIABLE: the sampler's checks failed for the model without" in ended.err
    assert not any(row["check"] == "model" for row in rows_of(results / "criticism.csv"))


def test_variants_of_a_changed_log_are_refused(results: Path, run: Callable) -> None:
    with (results.parent / "anchors.csv").open("a", encoding="utf-8") as file:
        file.write("\n")
    trials = results.parent / "trials.csv"
    trials.write_text(trials.read_text(encoding="utf-8").replace("920", "930"), encoding="utf-8")
    ended = run("criticise", results, "--variants")
    assert ended.status == 2 and "is not what these results were made from" in ended.err
    assert not (results / "criticism.csv").exists()

"""A quick fit is marked wherever it is shown, and never takes the place of a full one."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

Contents = Callable[[Path], dict[str, bytes]]
pytestmark = pytest.mark.usefixtures("unplotted")


@pytest.fixture
def fitted(with_results: Path, fits: Callable) -> Path:
    fits()
    return with_results


def test_a_quick_fit_goes_beside_the_full_one(fitted: Path, run: Callable, contents: Contents) -> None:
    before = contents(fitted / "results")
    ended = run("fit", fitted, "--quick")
    assert ended.status == 0, ended.err
    assert contents(fitted / "results") == before
    quick = fitted / "results-quick"
    assert json.loads((quick / "verdict.json").read_text())["approximate"] is True
    assert not (quick / "report.html").exists()
    assert f"holdcast report {quick} draws it" in ended.out


def test_the_mark_stands_on_table_answers_and_page(fitted: Path, run: Callable) -> None:
    assert "APPROXIMATE quick fit" in run("fit", fitted, "--quick").out
    quick = fitted / "results-quick"
    assert run("rank", quick, "--seabed", "../../x").out.startswith("APPROXIMATE: this is a quick fit")
    assert "APPROXIMATE quick fit" in run("rank", quick, "--seabed", "../../x").out
    assert run("report", quick).status == 0
    assert "APPROXIMATE quick fit" in (quick / "report.html").read_text().split("</title>")[0]
    assert "APPROXIMATE" not in run("rank", fitted / "results", "--seabed", "../../x").out


def test_tables_and_json_of_a_quick_fit_say_so_and_those_of_a_full_one_keep_their_columns(
    fitted: Path, run: Callable
) -> None:
    assert json.loads(run("fit", fitted, "--quick", "--json").out)["approximate"] is True
    full, quick = ((fitted / name / "cells.csv").read_text() for name in ("results", "results-quick"))
    header, *rows = quick.splitlines()
    assert header == "approximate," + full.splitlines()[0] and not full.startswith("approximate")
    assert rows and all(row.startswith("yes,") for row in rows)
    for name, approximate in (("results", False), ("results-quick", True)):
        assert json.loads(run("report", fitted / name, "--json").out)["approximate"] is approximate
        assert json.loads(run("criticise", fitted / name, "--json").out)["approximate"] is approximate
        for table in ("criticism.csv", "residuals.csv"):
            assert (fitted / name / table).read_text().startswith("approximate,") is approximate


def test_a_quick_fit_refuses_the_folder_of_a_full_one(
    fitted: Path, run: Callable, contents: Contents
) -> None:
    before = contents(fitted)
    ended = run("fit", fitted, "--quick", "--out", fitted / "results")
    assert ended.status == 2
    assert "holds a full fit, which a quick one would replace" in ended.err
    assert contents(fitted) == before


def test_a_quick_fit_may_replace_a_quick_one_and_a_full_fit_either(
    campaign: Path, run: Callable, fits: Callable, tmp_path: Path, unpaged: None
) -> None:
    fits()
    for words, approximate in (((), False), (("--quick",), True), (("--quick",), True), ((), False)):
        target = tmp_path / ("quick" if "--quick" in words or approximate else "out")
        assert run("fit", campaign, *words, "--out", target).status == 0
        assert json.loads((target / "verdict.json").read_text())["approximate"] is approximate
    assert run("fit", campaign, "--out", tmp_path / "quick").status == 0
    assert json.loads((tmp_path / "quick" / "verdict.json").read_text())["approximate"] is False

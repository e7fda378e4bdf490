"""``holdcast plan``: the screen, the table, JSON, and words for what cannot be done."""

import csv
import importlib
import json
from pathlib import Path

import pytest
from day_fits import day_fit

from holdcast.capacity import store
from holdcast.capacity.fitting import Fit
from holdcast.cli import main

COLUMNS = ["order", "seabed", "anchor", "pulls", "hours", "narrows", "because"]


def run(*words: str | Path) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["plan", *map(str, words)])
    return int(ended.value.code or 0)


@pytest.fixture
def results(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    return opened(day_fit(6, 3), monkeypatch, tmp_path)


def opened(fit: Fit, monkeypatch: pytest.MonkeyPatch, folder: Path) -> Path:
    """Have the command read this fit, and note the page for the boat instead of making it (tested there)."""
    monkeypatch.setattr(store, "load", lambda _: fit)
    # The module, not the function of the same name: the command line looks it up there.
    module = importlib.import_module("holdcast.commands.plan")
    monkeypatch.setattr(module, "write_day", lambda draws, rows, path: path.touch())
    return folder


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_screen_and_table_say_the_same(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(results, "--hours", "8") == 0
    rows = rows_of(results / "plan.csv")
    assert list(rows[0]) == COLUMNS
    out = " ".join(capsys.readouterr().out.split())
    for row in rows:
        assert f"{row['seabed']} {row['anchor']} {row['pulls']}" in out
    total = sum(float(row["hours"]) for row in rows)
    assert f"{total:g} of 8 hours" in out and total <= 8.0
    assert f"all rows together {100 * sum(float(row['narrows']) for row in rows):.1f}%" in out
    assert "18 90% bands is a factor of" in out and "setting up once for each anchor on it" in out
    assert "1.70 kN, the highest load in the log" in out
    assert out.count("not a safety factor") == 1


def test_json_holds_rows_and_sums(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(results, "--hours", "6", "--for", "ranking", "--seabed", "s1", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["aim"], told["counted"], told["approximate"]) == ("ranking", 15, False)
    assert told["after"] < told["before"] and told["hours_total"] <= 6.0
    assert list(told["rows"][0]) == COLUMNS


def test_out_names_another_file(results: Path) -> None:
    elsewhere = results / "saturday.csv"
    assert run(results, "--hours", "4", "--out", elsewhere) == 0
    assert rows_of(elsewhere)
    assert sorted(path.name for path in results.iterdir()) == ["day.html", "saturday.csv"]


def test_us_units_on_the_screen_only(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(results, "--hours", "4", "--units", "us") == 0
    assert "lbf, the highest load in the log" in " ".join(capsys.readouterr().out.split())


def test_a_quick_fit_is_planned_and_marked(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    results = opened(day_fit(4, 2, approximate=True), monkeypatch, tmp_path)
    assert run(results, "--hours", "4") == 0
    assert "APPROXIMATE" in capsys.readouterr().out
    assert {row["approximate"] for row in rows_of(results / "plan.csv")} == {"yes"}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--hours", "0.3"], "too few for any test"),
        (["--hours", "8", "--anchor", "a0x"], "unknown anchor: 'a0x'"),
        (["--hours", "8", "--seabed", "S1"], "the nearest known one to 'S1' is 's1'"),
        (["--hours", "8", "--travel-h", "s1=soon"], "--travel-h 's1=soon'"),
        (["--hours", "8", "--travel-h", "s9=1"], "unknown seabed: 's9'"),
        (["--hours", "8", "--carry", "0"], "at least one anchor"),
        (["--hours", "eight"], "Invalid value for '--hours'"),
        (["--hours", "8", "--for", "glory"], "glory"),
        (["--hours", "8", "--out", "no/such/folder/plan.csv"], "No such file or directory"),
    ],
)
def test_bad_input_is_said_and_nothing_written(
    results: Path, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    assert run(results, *words) == 2
    err = capsys.readouterr().err
    assert told in err and "Traceback" not in err
    assert not list(results.iterdir())


def test_missing_hours_are_asked_for_by_their_option(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    results = opened(day_fit(4, 2, travel_h=[0.5, float("nan")]), monkeypatch, tmp_path)
    assert run(results, "--hours", "8") == 2
    assert '--travel-h "s1=0.5"' in capsys.readouterr().err
    assert run(results, "--hours", "8", "--travel-h", "s1=0.5") == 0
    assert "travel_h from the command line: s1=0.5" in capsys.readouterr().err


def test_nothing_in_doubt_is_said(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fit = day_fit(2, 1)
    values = fit.tree["posterior"]["log_capacity"]
    values[:] = values.isel(chain=[0], draw=[0]).to_numpy()
    assert run(opened(fit, monkeypatch, tmp_path), "--hours", "4") == 0
    assert "No test narrows 2 90% bands" in capsys.readouterr().out
    assert (tmp_path / "plan.csv").read_text(encoding="utf-8").strip() == ",".join(COLUMNS)

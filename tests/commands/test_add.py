"""The command add: rows checked, tables written whole, the log appended to whole or not at all."""

import csv
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from holdcast.campaign import read_campaign
from holdcast.campaign.files import appending

Run = Callable[..., object]
BEACH, MUD, FORMULA = "<b>beach</b>", "../../x", "=1+1"
PULL = {"test": "pull", "date": "2024-06-01", "anchor": "A", "seabed": MUD}
NEW = (
    {**PULL, "trial": "n1", "held_n": "700", "released_n": "760"},
    {**PULL, "trial": "n2", "held_n": "650", "stopped_by": "boat_limit"},
    {**PULL, "trial": "n3", "anchor": FORMULA, "held_n": "5", "released_n": "6"},
)


@pytest.fixture
def fitted(with_quick_results: Path, fits: Callable[..., None]) -> Path:
    """A campaign with results of invented draws; of a quick fit, which draws no page."""
    fits()
    return with_quick_results


def day(folder: Path, *rows: dict[str, str], separator: str = ",") -> Path:
    names = list(dict.fromkeys(name for row in rows for name in row))
    path = folder.parent / "day.csv"
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, names, restval="", delimiter=separator)
        writer.writeheader()
        writer.writerows(rows)
    return path


def table(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def test_tables_are_written_and_the_screen_says_what_changed(fitted: Path, run: Run) -> None:
    ended = run("add", fitted / "results-quick", day(fitted, *NEW))
    assert ended.status == 0, ended.err
    added = fitted / "results-quick" / "added"
    assert {path.name for path in added.iterdir()} == {"cells.csv", "surprise.csv"}
    before, after = (table(folder / "cells.csv") for folder in (fitted / "results-quick", added))
    assert list(after[0]) == [*(name for name in before[0] if name != "price"), "update_holds", "price"]
    assert len(before) == len(after)
    cell = next(row for row in after if row["anchor"] == "A" and row["seabed"] == MUD)
    assert cell["pulls"] == "3" and cell["visits"] == "2"
    surprise = table(added / "surprise.csv")
    assert [row["trial"] for row in surprise] == ["n1", "n2", "n3"]
    assert surprise[2]["repeat"] == "yes" and float(surprise[2]["tail"]) < 0.05
    assert surprise[1]["repeat"] == "no"
    # 80 draws are never 400.
    assert "A REFIT IS DUE" in ended.out and "not a safety factor" in ended.out
    assert "Worth making again: n3" in ended.out and "look at the anchor" in ended.out
    # A later fit replaces its folder, the tables in it too.
    assert run("fit", fitted, "--quick").status == 0


def test_json_says_the_same(fitted: Path, run: Run) -> None:
    ended = run("add", fitted / "results-quick", day(fitted, *NEW), "--json")
    answer = json.loads(ended.out)
    assert answer["update"]["trusted"] is False and answer["update"]["effective_draws"] <= 80
    assert [row["trial"] for row in answer["surprise"]] == ["n1", "n2", "n3"]
    assert len(answer["moves"]) == 6


BAD_ROWS = (
    ({"trial": "n2"}, ("'n2'", "each name once")),
    ({"trial": "1"}, ("'1'", "The log has a trial of this name")),
    ({"anchor": "B"}, ("'B'", "A new anchor needs a refit")),
    ({"seabed": "<b>beech</b>"}, ("Did you mean <b>beach</b>?", "write it into seabeds.csv")),
    ({"held_n": "", "released_n": ""}, ("both blank",)),
    ({"held_n": "900"}, ("at least the load held",)),
    ({"held_n": "1,5"}, ("1,5",)),
    ({"test": "reset"}, ("attempts",)),
)


def test_bad_rows_are_2_with_every_fault_and_nothing_written(
    fitted: Path, run: Run, contents: Callable[[Path], dict[str, bytes]]
) -> None:
    before = contents(fitted)
    rows = [{**NEW[0], "trial": f"bad{place}", **change} for place, (change, _) in enumerate(BAD_ROWS)]
    ended = run("add", fitted / "results-quick", day(fitted, *rows, NEW[1]), "--into", fitted)
    assert ended.status == 2 and ended.out == ""
    said = " ".join(ended.err.split())
    assert [word for _, words in BAD_ROWS for word in words if word not in said] == []
    assert "Traceback" not in said
    assert contents(fitted) == before


@pytest.mark.parametrize(
    ("results", "words"),
    [("nowhere", "posterior.nc is missing"), ("trials.csv", "is missing")],
)
def test_no_such_results_are_2(fitted: Path, run: Run, results: str, words: str) -> None:
    ended = run("add", fitted / results, day(fitted, *NEW))
    assert ended.status == 2 and words in ended.err and "Traceback" not in ended.err


def test_no_such_file_of_trials_is_2(fitted: Path, run: Run) -> None:
    ended = run("add", fitted / "results-quick", fitted / "nothing.csv")
    assert ended.status == 2 and "there is no such file" in ended.err


def test_a_folder_that_holds_something_else_is_left_alone(fitted: Path, run: Run) -> None:
    ended = run("add", fitted / "results-quick", day(fitted, *NEW), "--out", fitted)
    assert ended.status == 2 and "would be lost" in ended.err.replace("\n", " ")


def test_rows_go_behind_those_of_the_log_with_a_backup(fitted: Path, run: Run) -> None:
    before = (fitted / "trials.csv").read_bytes()
    ended = run("add", fitted / "results-quick", day(fitted, *NEW), "--into", fitted)
    assert ended.status == 0, ended.err
    after = (fitted / "trials.csv").read_bytes()
    assert after.startswith(before.rstrip()) and (fitted / "trials.csv.backup-1").read_bytes() == before
    trials = read_campaign(fitted).trials
    assert list(trials.index[-3:]) == ["n1", "n2", "n3"]
    assert trials.loc["n1", "released_n"] == 760.0
    again = run("add", fitted / "results-quick", day(fitted, *NEW), "--into", fitted)
    assert again.status == 2 and "The log has a trial of this name" in " ".join(again.err.split())


def test_other_units_and_marks_are_written_in_the_logs_own(fitted: Path, run: Run) -> None:
    row = {**PULL, "trial": "n1", "held_kn": "0,7", "released_kn": "0,76", "depth_m": "4,5", "note": "a; b"}
    ended = run("add", fitted / "results-quick", day(fitted, row, separator=";"), "--into", fitted)
    assert ended.status == 0, ended.err
    trials = read_campaign(fitted).trials
    assert trials.loc["n1", ["held_n", "released_n", "depth_m"]].tolist() == [700.0, 760.0, 4.5]
    assert trials.loc["n1", "note"] == "a; b"
    assert "held_kn" not in (fitted / "trials.csv").read_text(encoding="utf-8")
    assert trials.loc["=5", "exclude"] == "=2+3 <script>fouled</script>"


def test_a_log_that_changed_meanwhile_is_not_touched(
    fitted: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = fitted / "trials.csv"
    whole = appending.appended

    def slow(before: bytes, new: object) -> bytes:
        log.write_bytes(log.read_bytes() + b"\n")
        return whole(before, new)

    monkeypatch.setattr(appending, "appended", slow)
    changed = log.read_bytes() + b"\n"
    ended = run("add", fitted / "results-quick", day(fitted, *NEW), "--into", fitted)
    assert ended.status == 2 and "changed while this ran" in ended.err
    assert log.read_bytes() == changed
    assert not (fitted / "results-quick" / "added").exists()
    assert not list(fitted.glob("trials.csv.backup*"))


def test_a_quick_fit_says_so_in_every_row(fitted: Path, run: Run) -> None:
    ended = run("add", fitted / "results-quick", day(fitted, *NEW))
    assert ended.status == 0 and "APPROXIMATE" in ended.out
    rows = table(fitted / "results-quick" / "added" / "surprise.csv")
    assert {row["approximate"] for row in rows} == {"yes"}


def test_a_workbook_is_not_appended_to(fitted: Path, run: Run, tmp_path: Path) -> None:
    book = tmp_path / "log.xlsx"
    book.write_bytes(b"")
    ended = run("add", fitted / "results-quick", day(fitted, *NEW), "--into", book)
    assert ended.status == 2 and "paste them into the workbook" in " ".join(ended.err.split())

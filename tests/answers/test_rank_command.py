"""The four commands on saved results: files whole and in SI, wrong labels taught, unreliable first."""

import csv
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import xarray as xr
from some_set import with_resets_and_veers

from holdcast.capacity import store
from holdcast.capacity.fitting import Fit
from holdcast.commands.compare import compare
from holdcast.commands.explain import explain
from holdcast.commands.features import features
from holdcast.commands.rank import rank
from holdcast.commands.shared.common import InputError
from holdcast.show.figures import intervals as interval_figure


def opened(fit: Fit, monkeypatch: pytest.MonkeyPatch, folder: Path) -> Path:
    """Have the commands read this fit, and note figures instead of drawing them (tested elsewhere)."""
    monkeypatch.setattr(store, "load", lambda _: fit)
    noted = lambda sheet, into, name, sizes: (folder / name).touch() or []  # noqa: E731
    monkeypatch.setattr(interval_figure, "save_figure", noted)
    return folder


@pytest.fixture
def results(small_fit: Fit, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    return opened(small_fit, monkeypatch, tmp_path)


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_rank_writes_everything_asked_for(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rank(results, weight=["soft mud=1", "stones=1"], efficiency=10.0, without=["firm sand"], picture=True)
    rows = rows_of(results / "ranking.csv")
    assert [sum(row["over"] == over for row in rows) for over in ("seabed", "weighted", "every")] == [
        10,
        5,
        5,
    ]
    assert {row["seabed"] for row in rows} == {"soft mud", "stones", ""}
    names = sorted(path.name for path in results.iterdir())
    assert names == ["all_rounder", "rank", "ranking.csv"]  # nothing half-written
    out = capsys.readouterr().out
    assert "Weighted: soft mud 50%; stones 50%" in out and "Left out: firm sand." in out
    said = " ".join(out.split())
    assert "not a safety factor" in said and "ranking.csv, or --all" in said


def test_compare_of_alike_results_leaves_no_figure_of_an_earlier_comparison(
    results: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    figures = results / "figures"
    figures.mkdir()
    for name in ("compare.svg", "compare.png", "capacity.svg"):
        (figures / name).write_text("old")
    compare(results, results, picture=True)
    assert [path.name for path in figures.iterdir()] == ["capacity.svg"]


def test_rank_of_one_seabed_stands_by_median_rank(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rank(results, seabed=["stones"], as_json=True)
    answer = json.loads(capsys.readouterr().out)
    ranks = [row["rank_q50"] for row in answer["rows"]]
    assert ranks == sorted(ranks) and len(ranks) == 5 and answer["reliable"] is True


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"seabed": ["stone"]}, "unknown seabed: 'stone'; the nearest known one to 'stone' is 'stones'"),
        ({"without": ["stone"]}, "'stones'"),
        ({"weight": ["soft mud", "stones=x"]}, "SEABED=NUMBER.*'soft mud', 'stones=x'"),
        ({"weight": ["stones=-1"]}, "above 0"),
        ({"efficiency": -3.0}, "above 0, got -3"),
        ({"seabed": ["stones"], "without": ["stones"]}, "nothing is left to rank"),
    ],
)
def test_rank_refuses_and_teaches(results: Path, options: dict[str, object], message: str) -> None:
    with pytest.raises(InputError, match=message):
        rank(results, **options)
    assert not (results / "ranking.csv").exists()


def test_features_writes_its_table(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    features(results)
    rows = rows_of(results / "features.csv")
    assert [sum(row["kind"] == kind for row in rows) for kind in ("net", "total", "measurement")] == [6, 3, 6]
    assert "Parameters beside their priors" not in capsys.readouterr().out
    features(results, everything=True)
    assert "Parameters beside their priors" in capsys.readouterr().out
    features(results, as_json=True)
    answer = json.loads(capsys.readouterr().out)
    assert {"rows", "parameters", "warnings", "reliable"} <= set(answer)


def test_features_of_a_log_without_any(
    small_fit: Fit, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tree = small_fit.tree.copy()
    for group in ("posterior", "prior"):
        tree[group] = xr.DataTree(tree[group].to_dataset().drop_dims("feature"))
    tree["constant_data"] = xr.DataTree(small_fit.inputs.isel(feature=[]))
    features(opened(Fit(tree, small_fit.verdict), monkeypatch, tmp_path))
    assert "No anchor of the log has a feature." in capsys.readouterr().out
    assert {row["kind"] for row in rows_of(tmp_path / "features.csv")} == {"measurement"}


def test_explain_and_its_labels(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    explain(results, "A-10", "soft mud", units="us")
    assert "lbf (90% band" in capsys.readouterr().out
    explain(results, "A-10-bar", "soft mud", as_json=True)
    assert json.loads(capsys.readouterr().out)["pulls"]["upper"] == [None]  # open above
    with pytest.raises(InputError, match="unknown anchor: 'A-11'"):
        explain(results, "A-11", "soft mud")


def test_compare_of_a_result_with_itself(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    compare(results, results)
    assert "None of 15 cells moved" in capsys.readouterr().out
    compare(results, results, as_json=True)
    answer = json.loads(capsys.readouterr().out)
    assert answer["trials"] == [] and all(row["move"] == 0.0 for row in answer["cells"])


COMMANDS: list[Callable[..., None]] = [
    rank,
    features,
    lambda folder, **options: explain(folder, "A-10", "soft mud", **options),
    lambda folder, **options: compare(folder, folder, **options),
]


def quick(fit: Fit) -> Fit:
    return Fit(fit.tree, replace(fit.verdict, approximate=True))


@pytest.mark.parametrize("command", COMMANDS)
def test_a_quick_fit_is_told_first_on_the_screen_in_json_and_in_every_row(
    command: Callable[..., None],
    small_fit: Fit,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    for fit, approximate in ((small_fit, False), (quick(small_fit), True)):
        folder = opened(fit, monkeypatch, tmp_path)
        command(folder)
        assert capsys.readouterr().out.startswith("APPROXIMATE") is approximate
        command(folder, as_json=True)
        assert json.loads(capsys.readouterr().out)["approximate"] is approximate
        for path in folder.glob("*.csv"):
            rows = rows_of(path)
            assert {row.get("approximate") for row in rows} == {"yes" if approximate else None}
            assert (next(iter(rows[0])) == "approximate") is approximate


@pytest.mark.parametrize(
    ("sides", "told"),
    [((True, False), "the old results"), ((False, True), "the new"), ((True, True), "the old and the new")],
)
def test_compare_tells_which_side_is_a_quick_fit(
    sides: tuple[bool, bool],
    told: str,
    small_fit: Fit,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def of_each(folder: Path) -> Fit:
        return quick(small_fit) if sides[folder == tmp_path] else small_fit

    opened(small_fit, monkeypatch, tmp_path)
    monkeypatch.setattr(store, "load", of_each)
    compare(tmp_path / "old", tmp_path)
    assert capsys.readouterr().out.startswith(f"APPROXIMATE: {told}")
    compare(tmp_path / "old", tmp_path, as_json=True)
    answer = json.loads(capsys.readouterr().out)
    assert answer["approximate"] is True
    assert (answer["old_approximate"], answer["new_approximate"]) == sides


@pytest.mark.parametrize("command", COMMANDS)
def test_unreliable_is_the_first_word(
    command: Callable[[Path], None],
    unreliable_fit: Fit,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    command(opened(unreliable_fit, monkeypatch, tmp_path))
    assert capsys.readouterr().out.startswith("UNRELIABLE")


def test_rank_of_several_seabeds_fits_a_screen_and_all_prints_each(
    results: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rank(results)
    short = capsys.readouterr().out
    assert len(short.splitlines()) <= 40 and short.count("May hold most in") == 3
    rows = rows_of(results / "ranking.csv")
    best = max((row for row in rows if row["seabed"] == "stones"), key=lambda row: float(row["p_best"]))
    (line,) = [line for line in short.splitlines() if line.startswith("May hold most in stones")]
    assert best["anchor"] in line
    cell = f"{float(best['rank_q50']):.0f}"
    (row,) = [line for line in short.splitlines() if line.startswith(f"{best['anchor']} ")]
    assert f"{float(best['rank_q05']):.0f}-{float(best['rank_q95']):.0f}" in row and cell in row
    rank(results, everything=True)
    assert capsys.readouterr().out.count("beaten") >= 3


def test_rank_by_resets_and_by_weighted_kinds(
    small_fit: Fit, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fit = with_resets_and_veers(small_fit, [("A-10", "soft mud", 10, 9)], [("A-10", "stones")])
    fit.tree.attrs = {
        **small_fit.tree.attrs,
        "weights": '{"soft mud": 1.0, "stones": 0.0}',
        "kind_weights": '{"pull": 1.0, "reset": 1.0}',
    }
    folder = opened(fit, monkeypatch, tmp_path)
    rank(folder, by="resets", seabed=["soft mud"])
    assert "Ranked by the chance of setting again" in " ".join(capsys.readouterr().out.split())
    assert {row["measure"] for row in rows_of(folder / "ranking.csv")} == {"resets"}
    rank(folder)
    said = " ".join(capsys.readouterr().out.split())
    assert "Weighted: soft mud 100% (kinds of test: pull 50%; reset 50%)" in said
    rank(folder, kind_weight=["veer=2"], as_json=True)
    assert json.loads(capsys.readouterr().out)["kind_weights"] == {"veer": 2.0}
    with pytest.raises(InputError, match=r"KIND=NUMBER.*'veer'"):
        rank(folder, kind_weight=["veer"])
    rank(opened(small_fit, monkeypatch, tmp_path), by="pulls", seabed=["stones"])
    assert {row["measure"] for row in rows_of(tmp_path / "ranking.csv")} == {"capacity"}

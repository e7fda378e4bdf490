"""What a results folder holds, read back as its readers would."""

import csv
import html
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from holdcast import load

NAMES = ("=1+1", "<script>alert(1)</script>", "A")
SEABEDS = ("../../x", "<b>beach</b>")
# The columns of the contract, in its order.
COLUMNS = [
    "anchor",
    "design",
    "seabed",
    "evidence",
    "pulls",
    "visits",
    "capacity_n_q05",
    "capacity_n_q25",
    "capacity_n_q50",
    "capacity_n_q75",
    "capacity_n_q95",
    "efficiency_q05",
    "efficiency_q25",
    "efficiency_q50",
    "efficiency_q75",
    "efficiency_q95",
    "new_pull_n_q05",
    "new_pull_n_q50",
    "new_pull_n_q95",
    "own_data",
    "range",
    "above_threshold",
    "bounded",
]


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_folder_holds_what_the_contract_names(published: Path) -> None:
    names = {path.name for path in published.iterdir()}
    tables = {"cells.csv", "excluded.csv", "pulls_to_check.csv"}
    assert names == {"posterior.nc", "verdict.json", "report.html", "figures", "datapackage.json", *tables}
    assert {path.name for path in (published / "figures").iterdir()} == {
        f"{name}{narrow}.{kind}"
        for name in ("capacity", "setting_again")
        for narrow in ("", "-narrow")
        for kind in ("svg", "png")
    } | {"all_rounder.svg", "all_rounder.png"}
    # Nothing of the making is left beside it, and no file went where a name points.
    assert {path.name for path in published.parent.iterdir() if path.name.startswith(".")} == set()
    assert not (published.parent.parent / "x").exists()


def test_cells_has_every_anchor_in_every_seabed_with_the_columns_of_the_contract(published: Path) -> None:
    rows = rows_of(published / "cells.csv")
    setting = [f"{name}_{q}" for name in ("sets", "resets", "veer_kept") for q in ("q05", "q50", "q95")]
    assert list(rows[0]) == [*COLUMNS, *setting, "reset_attempts", "veers", "price"]
    # A column that the tester added rides along, as text that computes nothing.
    assert [row["price"] for row in rows] == ["'=B2", "'=B2", "", "", "12.50", "12.50"]
    pairs = [(row["anchor"], row["seabed"]) for row in rows]
    assert pairs == [("'" + name if name == "=1+1" else name, bed) for name in NAMES for bed in SEABEDS]
    for row in rows:
        for kind, levels in (("capacity_n", "q05 q25 q50 q75 q95"), ("new_pull_n", "q05 q50 q95")):
            band = [float(row[f"{kind}_{level}"]) for level in levels.split()]
            assert band == sorted(band) and band[0] > 0
        assert 0.0 <= float(row["own_data"]) <= 1.0
        assert 0.0 <= float(row["above_threshold"]) <= 1.0
    facts = {
        pair: (row["evidence"], row["pulls"], row["visits"]) for pair, row in zip(pairs, rows, strict=True)
    }
    assert facts["'=1+1", "../../x"] == ("tested", "2", "1")
    assert facts["A", "../../x"] == ("tested", "1", "1")  # its excluded pull does not count
    assert facts["A", "<b>beach</b>"] == ("untested", "0", "0")


def test_efficiency_is_capacity_over_weight(published: Path) -> None:
    row = rows_of(published / "cells.csv")[0]  # a 10 kg anchor
    weight = 10 * 9.80665  # standard gravity, ISO 80000-3 (value from memory)
    assert float(row["efficiency_q50"]) == pytest.approx(float(row["capacity_n_q50"]) / weight, rel=1e-5)


def test_excluded_rows_are_listed_with_their_reason_as_text(published: Path) -> None:
    assert rows_of(published / "excluded.csv") == [
        {"trial": "'=5", "reason": "'=2+3 <script>fouled</script>"}
    ]


def test_no_csv_cell_begins_like_a_formula(published: Path) -> None:
    for path in published.glob("*.csv"):
        cells = [cell for row in rows_of(path) for cell in row.values()]
        assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]


def test_page_shows_names_as_text(published: Path) -> None:
    page = (published / "report.html").read_text(encoding="utf-8")
    # The page's own two: its data and its script, which the policy lets through by hash.
    assert re.findall(r"<script[^>]*>", page.lower()) == [
        '<script type="application/json" id="page-data">',
        "<script>",
    ]
    assert (
        not re.search(r"<script>(alert|fouled)", page) and "<b>beach" not in page and "<i>=Title" not in page
    )
    for name in (*NAMES, *SEABEDS, "<i>=Title</i>", "=2+3 <script>fouled</script>"):
        assert html.escape(name, quote=False) in page
    assert "6 rows in = 5 used (4 pulls, 1 reset) + 1 excluded." in page
    assert "not a safety factor, not a guarantee" in page
    assert "UNRELIABLE" not in page


def test_figure_draws_names_as_shapes_not_markup(published: Path) -> None:
    for path in (published / "figures").glob("*.svg"):
        text = path.read_text(encoding="utf-8")
        assert "<script" not in text.lower() and not re.search(r"<b>|href=\"(?!#)", text)


def test_verdict_is_json_with_the_keys_of_the_contract(published: Path) -> None:
    verdict = json.loads((published / "verdict.json").read_text(encoding="utf-8"))
    keys = "ok sentences divergences rhat_max ess_bulk_min ess_tail_min bfmi_min attempts"
    assert {*keys.split(), "seconds_compile", "seconds_sample"} <= set(verdict)
    assert verdict["ok"] is True


def test_saved_fit_loads_and_remembers_its_making(published: Path) -> None:
    tree = load(published).tree
    assert tree["posterior"]["log_capacity"].dims == ("chain", "draw", "anchor", "seabed")
    groups = {
        "posterior",
        "posterior_predictive",
        "prior",
        "observed_data",
        "log_likelihood",
        "constant_data",
    }
    assert groups <= set(tree.children)
    assert {"version", "seed", "priors", "input_hash", "licence"} <= set(tree.attrs)


def test_theory_doubts_reach_the_page(published: Path) -> None:
    # A 9 kg anchor with a fluke of 10 cm² at 1 kN in very soft clay is beyond any bearing factor.
    page = (published / "report.html").read_text(encoding="utf-8")
    assert "A in ../../x" in page and "look at the area, the strength class and the readings" in page


def test_report_writes_the_page_again_in_other_units(
    published: Path, run: Callable[..., object], contents: Callable[[Path], dict[str, bytes]]
) -> None:
    before = contents(published)
    ended = run("report", published, "--units", "us")
    after = contents(published)
    try:
        assert ended.status == 0 and ended.out.strip() == str(published / "report.html")
        assert {name for name in before if before[name] != after[name]} == {"report.html"}
        assert set(before) == set(after)
        assert b"capacity, lbf" in after["report.html"] and b"capacity, lbf" not in before["report.html"]
    finally:
        (published / "report.html").write_bytes(before["report.html"])


def test_report_of_a_folder_without_a_fit_is_bad_input(tmp_path: Path, run: Callable[..., object]) -> None:
    ended = run("report", tmp_path)
    assert ended.status == 2 and "posterior.nc is missing: is this a results folder?" in ended.err

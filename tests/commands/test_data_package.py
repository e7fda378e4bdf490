"""``datapackage.json``: every column of every table told, of the kind that stands there."""

import csv
import json
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., object]
CARRIED = {"price"}


@pytest.fixture
def results(with_results: Path) -> Path:
    return with_results / "results"


def package(folder: Path) -> dict[str, dict]:
    content = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert content["profile"] == "tabular-data-package"
    return {resource["path"]: resource for resource in content["resources"]}


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def is_of_kind(text: str, kind: str) -> bool:
    """As the Table Schema reads a value that is not blank."""
    if kind == "boolean":
        return text in ("yes", "no")
    if kind == "integer":
        return text.lstrip("+-").isdigit()
    if kind == "number":
        return bool(float(text)) or True
    return True


def check_table(folder: Path, resource: dict) -> None:
    table, fields = rows(folder / resource["path"]), resource["schema"]["fields"]
    header = next(csv.reader((folder / resource["path"]).read_text(encoding="utf-8").splitlines()))
    assert [field["name"] for field in fields] == header
    assert {field["name"] for field in fields if field["type"] == "any"} <= CARRIED
    for field in fields:
        assert field["description"]
        assert ("unit" in field) == (field["type"] in ("number", "integer"))
        assert all(is_of_kind(row[field["name"]], field["type"]) for row in table if row[field["name"]])
    key = resource["schema"].get("primaryKey", [])
    assert not key or len({tuple(row[name] for name in key) for row in table}) == len(table)


def test_a_fit_describes_its_tables(results: Path) -> None:
    described = package(results)
    assert set(described) == {"cells.csv", "excluded.csv", "pulls_to_check.csv"}
    for resource in described.values():
        check_table(results, resource)
    units = {field["name"]: field.get("unit") for field in described["cells.csv"]["schema"]["fields"]}
    assert units["capacity_n_q50"] == "N" and units["efficiency_q50"] == "1" and "price" in units


def test_each_answer_adds_its_tables(results: Path, run: Run, unplotted: None) -> None:
    answers = (
        ("rank", "--efficiency", "5"),
        ("boat", "--length-m", "9", "--wind-kn", "25"),
        ("sizes", "--load-kn", "2"),
        ("criticise",),
    )
    for command, *words in answers:
        ended = run(command, results, *words)
        assert ended.status == 0, ended.err
    described = package(results)
    new = {"ranking.csv", "boat.csv", "boat_lightest.csv", "sizes.csv", "sizes_load.csv"}
    assert new | {"criticism.csv", "residuals.csv", "cells.csv"} <= set(described)
    for resource in described.values():
        check_table(results, resource)
    (results / "boat.csv").unlink()
    assert run("rank", results).status == 0
    assert "boat.csv" not in package(results)


def test_what_is_no_description_of_tables_is_left_alone(results: Path, run: Run, unplotted: None) -> None:
    for content in ("mine", "[" * 100_000, "{}", "[]"):
        (results / "datapackage.json").write_text(content)
        assert run("rank", results).status == 0
        assert (results / "datapackage.json").read_text() == content
    (results / "datapackage.json").unlink()
    assert run("rank", results).status == 0
    assert not (results / "datapackage.json").exists()


def test_a_table_that_cannot_be_read_costs_no_answer(results: Path, run: Run, unplotted: None) -> None:
    before = (results / "datapackage.json").read_text()
    (results / "cells.csv").write_text("x" * 200_000)  # longer than the library reads a name
    assert run("rank", results).status == 0
    assert (results / "datapackage.json").read_text() == before


def test_rows_of_a_quick_fit_say_so_in_a_column_that_is_told(with_quick_results: Path) -> None:
    fields = package(with_quick_results / "results-quick")["cells.csv"]["schema"]["fields"]
    assert fields[0]["name"] == "approximate" and fields[0]["trueValues"] == ["yes"]

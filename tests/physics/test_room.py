"""The room itself: what it imports, and that the page of formulas lists every function and table."""

import ast
import importlib
import inspect
import pkgutil
from pathlib import Path

import pytest

import holdcast.physics
from holdcast import package_data
from holdcast.physics.elementwise import maximum, softplus
from holdcast.physics.errors import PhysicsError, known_word
from holdcast.physics.tables import read_table

ROOM = Path(holdcast.physics.__file__).parent
MODULES = sorted(
    module.name.removeprefix("holdcast.physics.")
    for module in pkgutil.walk_packages([str(ROOM)], "holdcast.physics.")
    if not module.ispkg
)
PAGE = ROOM.parents[2] / "docs" / "formulas.md"
TABLES = sorted(file.stem for file in package_data.path("tables").glob("*.csv"))


@pytest.mark.parametrize("module", MODULES)
def test_physics_lies_beneath_and_knows_nobody(module):
    tree = ast.parse((ROOM / f"{module.replace('.', '/')}.py").read_text(encoding="utf-8"))
    names = [node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    names += [alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names]
    for name in names:
        assert not name.startswith(("pymc", "pytensor", "pandas", "xarray", "arviz")), name
        if name.startswith("holdcast"):
            assert name == "holdcast" or name.startswith("holdcast.physics"), name


@pytest.mark.parametrize("module", [name for name in MODULES if name not in ("elementwise", "errors")])
def test_every_public_function_is_on_the_page_and_explained(module):
    page = PAGE.read_text(encoding="utf-8")
    loaded = importlib.import_module(f"holdcast.physics.{module}")
    functions = [name for name in loaded.__all__ if inspect.isfunction(getattr(loaded, name))]
    assert functions
    for name in functions:
        assert f"`{name}`" in page, f"docs/formulas.md lacks {name}"
        assert len(inspect.getdoc(getattr(loaded, name)) or "") > 40


@pytest.mark.parametrize("table", TABLES)
def test_every_table_tells_its_source_and_mark_and_is_on_the_page(table):
    text = package_data.path(f"tables/{table}.csv").read_text(encoding="utf-8")
    source = " ".join(line for line in text.splitlines() if line.startswith("#"))
    assert any(mark in source for mark in ("read", "from memory", "practice"))
    assert f"`{table}.csv`" in PAGE.read_text(encoding="utf-8")
    rows = read_table(table)
    assert rows
    for row in rows:
        assert None not in row, "a row has more cells than the header"
        assert None not in row.values(), "a row has fewer cells than the header"


def test_a_missing_table_is_named():
    with pytest.raises(FileNotFoundError, match="no_such_table"):
        read_table("no_such_table")


def test_elementwise_takes_plain_numbers():
    assert softplus(0.0) == pytest.approx(0.6931471805599453)
    assert softplus(-800.0) == 0.0
    assert maximum(1.0, 2.0) == 2.0


def test_a_word_far_from_all_gets_no_hint():
    with pytest.raises(PhysicsError, match=r"soil is 'xyzzy'; it must be one of clay, silt$"):
        known_word("soil", "xyzzy", ["clay", "silt"])

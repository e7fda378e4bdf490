"""The project's own rules: pinned Python, small files, one-way rooms, no foreign code run or loaded."""

import ast
import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "model" / "holdcast"
SOURCES = sorted(PACKAGE.rglob("*.py"))
ROOMS = {"physics", "campaign", "capacity", "answers", "show", "evaluate"}
# What each room may not import: data flows campaign -> capacity -> answers -> show, physics lies beneath.
FORBIDDEN = {
    "physics": ROOMS - {"physics"},
    "campaign": {"capacity", "answers", "show", "evaluate"},
    "capacity": {"answers", "show", "evaluate"},
    "answers": {"campaign", "show", "evaluate"},
    "show": {"campaign", "capacity", "evaluate"},  # campaign.records is free to all above physics
    "evaluate": {"show"},
}
SAMPLERS = {"pymc", "pytensor", "nutpie"}
DANGEROUS_CALLS = {"eval", "exec", "compile", "__import__"}
DANGEROUS_MODULES = {"pickle", "cPickle", "dill", "cloudpickle", "shelve", "marshal"}
NETWORK_MODULES = {"socket", "urllib", "http", "requests", "httpx", "aiohttp", "ftplib", "smtplib"}


def imported(source: str, module: str) -> set[str]:
    """Full names that a module imports; relative imports are resolved from its dotted name."""
    names = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = module.split(".")[: -node.level] if node.level else []
            stem = ".".join([*base, *([node.module] if node.module else [])])
            names |= {stem, *(f"{stem}.{alias.name}" for alias in node.names)}
    return names


def rooms_imported(source: str, module: str) -> set[str]:
    """Rooms that a module imports; the shapes of a campaign's tables belong to no room's work."""
    names = {name for name in imported(source, module) if name.startswith("holdcast.")}
    return {name.split(".")[1] for name in names if not name.startswith("holdcast.campaign.records")} & ROOMS


def top_modules(source: str, module: str) -> set[str]:
    return {name.split(".")[0] for name in imported(source, module)}


def dangerous_calls(source: str) -> set[str]:
    calls = [node.func for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    return {call.id for call in calls if isinstance(call, ast.Name)} & DANGEROUS_CALLS


def dotted(path: Path) -> str:
    return ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0]


@pytest.mark.parametrize(
    ("source", "rooms"),
    [
        ("from holdcast.show import figures", {"show"}),
        ("from holdcast import show", {"show"}),
        ("import holdcast.capacity.model.build as m", {"capacity"}),
        ("from ..campaign import reading", {"campaign"}),
        ("from holdcast.campaign.records import Campaign", set()),
        ("def f():\n    from holdcast.answers.cells.cells import cells", {"answers"}),
        ("import numpy", set()),
    ],
)
def test_import_reader_sees_every_form(source: str, rooms: set[str]) -> None:
    assert rooms_imported(source, "holdcast.physics.size") == rooms


def test_danger_reader_sees_eval_and_not_methods() -> None:
    assert dangerous_calls("x = eval('1')") == {"eval"}
    assert dangerous_calls("re.compile('a'); frame.eval('b')") == set()


@pytest.mark.parametrize("path", SOURCES, ids=dotted)
def test_rooms_import_one_way_only(path: Path) -> None:
    wrong = rooms_imported(path.read_text(encoding="utf-8"), dotted(path)) & FORBIDDEN.get(
        room_of(path), set()
    )
    assert not wrong, f"{dotted(path)} may not import {sorted(wrong)}"


@pytest.mark.parametrize(
    "path", [p for p in SOURCES if room_of(p) in {"physics", "campaign", "show"}], ids=dotted
)
def test_sampler_stays_out_of_plain_rooms(path: Path) -> None:
    assert not top_modules(path.read_text(encoding="utf-8"), dotted(path)) & SAMPLERS


@pytest.mark.parametrize("path", SOURCES, ids=dotted)
def test_nothing_runs_or_loads_foreign_code_or_calls_out(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    assert not dangerous_calls(source)
    assert not top_modules(source, dotted(path)) & (DANGEROUS_MODULES | NETWORK_MODULES)


TEXTS = [path for path in sorted(PACKAGE.rglob("*")) if path.suffix in {".py", ".html", ".css", ".toml"}]


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_files_stay_small(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 350


@pytest.mark.parametrize("path", SOURCES, ids=dotted)
def test_functions_stay_short(path: Path) -> None:
    """At most 40 lines, the docstring not counted."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef):
            first = node.body[0]
            documented = ast.get_docstring(node) is not None and first.end_lineno is not None
            docstring = first.end_lineno - first.lineno + 1 if documented else 0
            assert node.end_lineno - node.lineno + 1 - docstring <= 40, f"{dotted(path)}.{node.name}"


def test_python_is_pinned() -> None:
    assert (ROOT / ".python-version").read_text(encoding="utf-8").strip() == "3.13"
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["requires-python"] == ">=3.12"


def test_developer_page_gives_a_reason_for_each_dependency() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    declared = [*settings["project"]["dependencies"], *settings["dependency-groups"]["dev"]]
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"^\| `([\w-]+)` \|", page, flags=re.MULTILINE))
    assert named == {re.split(r"[<>=~!\[ ]", requirement)[0] for requirement in declared}


def test_readme_commands_exist() -> None:
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    scripts = set(re.findall(r"sh (scripts/\w+\.sh)", page))
    assert {"scripts/demo.sh", "scripts/test.sh"} <= scripts
    assert all((ROOT / script).is_file() for script in scripts)


def test_readme_links_lead_somewhere() -> None:
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md"):
        targets = re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8"))
        assert all((ROOT / target).exists() for target in targets), (page.name, targets)

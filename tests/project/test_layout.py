"""The project's own rules: pinned Python, small files, one-way rooms, no foreign code run or loaded.

Each rule is one test of all files; what fails names every file that breaks it.
"""

import ast
import functools
import re
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "model" / "holdcast"
SOURCES = sorted(PACKAGE.rglob("*.py"))
SCRIPTS = ROOT / "scripts"
ROOMS = {"physics", "campaign", "capacity", "answers", "show", "evaluate"}
MOST_FILES = 13
"""In one folder, `__init__.py` not counted; `commands/` has a file for each command of the program."""
# What each room may not import: data flows campaign -> capacity -> answers -> show, physics lies beneath.
FORBIDDEN = {
    "physics": ROOMS - {"physics"},
    "campaign": {"capacity", "answers", "show", "evaluate"},
    "capacity": {"answers", "show", "evaluate"},
    "answers": {"campaign", "show", "evaluate"},
    "show": {"campaign", "capacity", "evaluate"},  # campaign.records is free to all above physics
    "evaluate": {"show"},
}
ARRAY_LIBRARIES = {"numpy", "scipy", "arviz", "arviz_stats"}
SAMPLERS = {"pymc", "pytensor", "nutpie"}
DANGEROUS_CALLS = {"eval", "exec", "compile", "__import__"}
DANGEROUS_MODULES = {"pickle", "cPickle", "dill", "cloudpickle", "shelve", "marshal"}
NETWORK_MODULES = {"socket", "urllib", "http", "requests", "httpx", "aiohttp", "ftplib", "smtplib"}


@functools.cache
def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@functools.cache
def nodes(source: str) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(ast.parse(source)))


@functools.cache
def imported(source: str, module: str) -> set[str]:
    """Full names that a module imports; relative imports are resolved from its dotted name."""
    names = set()
    for node in nodes(source):
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
    calls = [node.func for node in nodes(source) if isinstance(node, ast.Call)]
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


def importing(paths: list[Path], modules: set[str]) -> dict[str, set[str]]:
    """Return the files that import any of some libraries, and which."""
    there = {dotted(path): top_modules(text_of(path), dotted(path)) & modules for path in paths}
    return {name: names for name, names in there.items() if names}


def test_rooms_import_one_way_only() -> None:
    rooms = {path: rooms_imported(text_of(path), dotted(path)) for path in SOURCES}
    wrong = {dotted(path): names & FORBIDDEN.get(room_of(path), set()) for path, names in rooms.items()}
    assert {name: names for name, names in wrong.items() if names} == {}


def test_sampler_stays_out_of_plain_rooms() -> None:
    plain = [path for path in SOURCES if room_of(path) in {"physics", "campaign", "show"}]
    assert len(plain) > 20 and importing(plain, SAMPLERS) == {}


def test_nothing_runs_or_loads_foreign_code_or_calls_out() -> None:
    assert [dotted(path) for path in SOURCES if dangerous_calls(text_of(path))] == []
    assert importing(SOURCES, DANGEROUS_MODULES | NETWORK_MODULES) == {}


def test_commands_calculate_nothing() -> None:
    """As far as imports show it: no library of arrays, statistics or sampling."""
    commands = [path for path in SOURCES if room_of(path) == "commands"]
    assert len(commands) > 20 and importing(commands, ARRAY_LIBRARIES | SAMPLERS) == {}


FOLDERS = sorted({path.parent for path in [*SOURCES, *SCRIPTS.rglob("*.py")]})


def test_folders_stay_small_and_say_what_they_are() -> None:
    files = {folder: [path for path in folder.glob("*.py") if path.stem != "__init__"] for folder in FOLDERS}
    assert [
        str(folder)
        for folder, those in files.items()
        if len(those) > MOST_FILES and folder != PACKAGE / "commands"
    ] == []
    packages = [folder for folder in FOLDERS if folder.is_relative_to(PACKAGE)]
    assert [
        str(each) for each in packages if not ast.get_docstring(ast.parse(text_of(each / "__init__.py")))
    ] == []


def test_developer_page_maps_every_folder() -> None:
    """One line a folder, and no line for a folder that is gone."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    mapped = set(re.findall(r"^\| *`([a-z/]+)/` *\|", page, flags=re.MULTILINE))
    package = {folder.relative_to(PACKAGE).as_posix() for folder in FOLDERS if folder.is_relative_to(PACKAGE)}
    scripts = {folder.relative_to(ROOT).as_posix() for folder in FOLDERS if folder.is_relative_to(SCRIPTS)}
    assert mapped == (package - {"."}) | (scripts - {"scripts"})


def test_developer_page_sends_nobody_to_a_file_that_is_gone() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = page.split("## Where to go for a change")[1].split("\n## ")[0]
    places = re.findall(r"`([\w/.]+/[\w.]*|\w+\.py)`", section)
    assert len(places) > 20
    assert [place for place in places if not ((PACKAGE / place).exists() or (ROOT / place).exists())] == []


SCRIPT_FILES = sorted(SCRIPTS.rglob("*/*.py"))


def test_scripts_import_from_their_own_folder_only() -> None:
    """Python puts the folder of the script that it runs on the path, and nothing else is put there."""
    ours = {path.stem for path in SCRIPT_FILES} | {each.name for each in FOLDERS if SCRIPTS in each.parents}
    elsewhere = []
    for path in SCRIPT_FILES:
        own = SCRIPTS / path.relative_to(SCRIPTS).parts[0]
        names = (top_modules(text_of(path), path.stem) & ours) - sys.stdlib_module_names
        elsewhere += [
            (path.name, name)
            for name in names
            if not (own / name).is_dir() and not (own / f"{name}.py").is_file()
        ]
    assert len(SCRIPT_FILES) > 20 and elsewhere == []


def test_files_stay_small() -> None:
    texts = [path for path in PACKAGE.rglob("*") if path.suffix in {".py", ".html", ".css", ".toml"}]
    assert len(texts) > len(SOURCES)
    assert [str(path) for path in texts if len(text_of(path).splitlines()) > 350] == []


def test_functions_stay_short() -> None:
    """At most 40 lines, the docstring not counted."""
    long = []
    for path in SOURCES:
        for node in nodes(text_of(path)):
            if isinstance(node, ast.FunctionDef):
                first = node.body[0]
                documented = ast.get_docstring(node) is not None and first.end_lineno is not None
                docstring = first.end_lineno - first.lineno + 1 if documented else 0
                if node.end_lineno - node.lineno + 1 - docstring > 40:
                    long.append(f"{dotted(path)}.{node.name}")
    assert long == []


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


PAGES = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md")))


def test_links_of_pages_lead_somewhere() -> None:
    for page in PAGES:
        targets = re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8"))
        assert all((page.parent / target).exists() for target in targets), (page.name, targets)


def test_paths_of_code_in_pages_exist() -> None:
    """From the root, from the package, or in a page about the model from its room."""
    for page in PAGES:
        for path in re.findall(r"(?<![\w/])((?:[a-z_]+/)+[a-z_]+\.py)", page.read_text(encoding="utf-8")):
            assert any((base / path).exists() for base in (ROOT, PACKAGE, PACKAGE / "capacity")), (page, path)

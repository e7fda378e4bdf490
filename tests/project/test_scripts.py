"""Set-up scripts refuse nonsense clearly; the results check tells a whole results folder from a bad one."""

import csv
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CAPACITIES = [f"capacity_n_q{q}" for q in ("05", "25", "50", "75", "95")]
EFFICIENCIES = [f"efficiency_q{q}" for q in ("05", "25", "50", "75", "95")]
NEW_PULLS = [f"new_pull_n_q{q}" for q in ("05", "50", "95")]


def run(*command: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, capture_output=True, text=True, check=False)


def write(path: Path, rows: list[dict[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def results_folder(folder: Path, cells: list[dict[str, object]], ok: bool = True) -> Path:
    write(folder / "anchors.csv", [{"anchor": "A"}, {"anchor": "B"}])
    write(folder / "seabeds.csv", [{"seabed": "mud"}])
    write(folder / "trials.csv", [{"anchor": "A", "seabed": "mud", "test": "pull", "exclude": ""}])
    results = folder / "results"
    results.mkdir()
    write(results / "cells.csv", cells)
    (results / "verdict.json").write_text(json.dumps({"ok": ok, "sentences": ["chains disagree"]}))
    for name in ("excluded.csv", "posterior.nc", "report.html"):
        (results / name).touch()
    return folder


def cell(anchor: str, evidence: str, scale: float = 1.0) -> dict[str, object]:
    quantiles = {c: scale * i for cs in (CAPACITIES, EFFICIENCIES, NEW_PULLS) for i, c in enumerate(cs, 1)}
    return {"anchor": anchor, "seabed": "mud", "evidence": evidence, **quantiles}


def check(folder: Path) -> subprocess.CompletedProcess[str]:
    return run(sys.executable, ROOT / "scripts" / "checks" / "check_results.py", folder)


def test_whole_results_pass(tmp_path: Path) -> None:
    outcome = check(results_folder(tmp_path, [cell("A", "tested"), cell("B", "untested")]))
    assert outcome.returncode == 0, outcome.stderr
    assert "2 cells, 2 anchors x 1 seabeds, verdict ok" in outcome.stdout


@pytest.mark.parametrize(
    ("cells", "ok", "message"),
    [
        ([cell("A", "tested")], True, "cells.csv has 1 rows"),
        ([cell("A", "tested"), cell("A", "tested")], True, "make 2"),
        ([cell("A", "tested"), cell("B", "tested")], True, "B in mud is called tested"),
        ([cell("A", "tested"), cell("B", "untested", -1.0)], True, "B in mud: capacity_n quantiles"),
        ([cell("A", "tested"), cell("B", "untested", float("nan"))], True, "B in mud: efficiency quantiles"),
        ([cell("A", "tested"), cell("B", "untested")], False, "chains disagree"),
    ],
)
def test_bad_results_are_named(
    tmp_path: Path, cells: list[dict[str, object]], ok: bool, message: str
) -> None:
    outcome = check(results_folder(tmp_path, cells, ok))
    assert outcome.returncode == 1
    assert message in outcome.stderr


def test_missing_results_are_named(tmp_path: Path) -> None:
    folder = results_folder(tmp_path, [cell("A", "tested"), cell("B", "untested")])
    (folder / "results" / "posterior.nc").unlink()
    assert "lacks posterior.nc" in check(folder).stderr


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        (["--help"], 0, "usage: sh scripts/demo.sh [FOLDER]"),
        (["--fast"], 2, "unknown option --fast"),
        (["my", "folder"], 2, "one folder is expected, 2 were given"),
    ],
)
def test_demo_script_reads_its_arguments_before_any_set_up(
    arguments: list[str], status: int, message: str
) -> None:
    outcome = run("sh", ROOT / "scripts" / "demo.sh", *arguments)
    assert outcome.returncode == status
    assert message in outcome.stdout + outcome.stderr


def test_set_up_ends_in_one_clear_line_without_any_python(tmp_path: Path) -> None:
    """The real file, with the fixed folders it looks into taken out of the copy."""
    scripts = tmp_path / "a copy" / "scripts"
    scripts.mkdir(parents=True)
    fixed = ":/usr/bin:/usr/local/bin:/opt/homebrew/bin"
    text = (ROOT / "scripts" / "setup.sh").read_text(encoding="utf-8")
    assert fixed in text
    (scripts / "setup.sh").write_text(text.replace(fixed, ""), encoding="utf-8")
    tools = tmp_path / "tools"
    tools.mkdir()
    for name in ("mkdir", "tr", "cat", "tail", "rm", "mv"):
        (tools / name).symlink_to(f"/bin/{name}" if Path(f"/bin/{name}").exists() else f"/usr/bin/{name}")
    command = f"PATH='{tools}'; HOME=/nowhere; unset PYENV_ROOT UV_PYTHON; PROJECT='{scripts.parent}'; "
    outcome = run("sh", "-c", command + '. "$PROJECT/scripts/setup.sh"; set_up --no-dev')
    assert outcome.returncode == 1
    assert outcome.stderr == (
        "holdcast: no Python 3.8 or newer was found to begin with; install Python 3.13 and run this again\n"
    )


def test_wheel_carries_the_data() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert settings["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"] == {
        "data": "holdcast/_data"
    }

"""The licence check tells permissive statements from others, names the package, and passes here."""

import re
import tomllib
from importlib.metadata import Distribution
from pathlib import Path

import pytest

import check_licences

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("statement", "allowed"),
    [
        ("MIT", True),
        ("BSD License", True),
        ("MIT OR GPL-3.0-only", True),
        ("MIT AND GPL-3.0-only", False),
        ("GPL-3.0-only OR MIT AND GPL-2.0-only", False),
        ("MIT OR GPL-3.0-only AND GPL-2.0-only", True),
        ("(MIT OR GPL-3.0-only) AND Zlib", True),
        ("BSD-2-Clause AND Apache-2.0 WITH LLVM-exception", True),
        ("GNU General Public License v3 (GPLv3)", False),
        ("Proprietary", False),
        ("", False),
    ],
)
def test_licence_statements(statement: str, allowed: bool) -> None:
    assert check_licences.is_allowed(statement) is allowed


def test_a_package_that_is_not_allowed_is_named(tmp_path: Path) -> None:
    folder = tmp_path / "closed_thing-1.0.dist-info"
    folder.mkdir()
    (folder / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: closed-thing\nVersion: 1.0\nLicense: Closed\n"
    )
    assert check_licences.faults([Distribution.at(folder)]) == [
        "closed-thing 1.0: licence 'Closed' is not on the list"
    ]


def test_a_missing_package_stops_the_walk() -> None:
    with pytest.raises(SystemExit, match="no-such-package-here is needed and not installed"):
        check_licences.closure("no-such-package-here")


def test_every_run_time_package_is_permissive_and_locked() -> None:
    packages = check_licences.closure("holdcast")
    assert check_licences.faults(packages.values()) == []
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[<>=~!\[ ]", text)[0] for text in project["dependencies"]}
    assert declared < set(packages)
    lock = tomllib.loads((ROOT / "uv.lock").read_text(encoding="utf-8"))
    assert set(packages) <= {package["name"] for package in lock["package"]}

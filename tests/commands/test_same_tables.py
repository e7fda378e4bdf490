"""The same seed gives the same tables, byte for byte: again, and on another number of cores.

An empty compile cache takes minutes: ``scripts/checks/surroundings.py`` tries that.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

TABLES = {
    "anchors": "anchor,form,mass_kg,tip_load_kg\nA,scoop,10,4\nB,plough,15,\n",
    "seabeds": "seabed,soil,strength\nmud,clay,low\nsand,sand,dense\n",
    "trials": "trial,anchor,seabed,test,date,held_n,released_n,stopped_by\n"
    "1,A,mud,pull,2024-05-01,900,1000,\n2,A,mud,pull,2024-05-01,950,1100,\n3,B,mud,pull,2024-05-01,700,800,\n"
    "4,B,sand,pull,2024-05-02,2000,2500,\n5,B,sand,pull,2024-05-02,2200,,boat_limit\n",
}
ONE_CORE = {
    "PYTHON_CPU_COUNT": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "NUMBA_NUM_THREADS": "1",
}


@pytest.fixture(scope="module")
def tiny(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tiny")
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def tables(campaign: Path, name: str, **surroundings: str) -> dict[str, bytes]:
    command = [sys.executable, "-m", "holdcast", "fit", str(campaign), "--quick", "--seed", "7"]
    out = campaign / name
    # As many threads as the libraries like, but for what is asked here.
    usual = {key: value for key, value in os.environ.items() if not key.endswith("_NUM_THREADS")}
    ended = subprocess.run(
        [*command, "--out", str(out)], env=usual | surroundings, capture_output=True, text=True
    )
    assert ended.returncode == 0, ended.stderr
    return {path.name: path.read_bytes() for path in out.glob("*.csv")}


@pytest.fixture(scope="module")
def first(tiny: Path) -> dict[str, bytes]:
    return tables(tiny, "first", PYTHON_CPU_COUNT="2")


@pytest.mark.fit
@pytest.mark.long
def test_a_second_run_on_one_core_gives_the_same_tables(tiny: Path, first: dict[str, bytes]) -> None:
    assert set(first) == {"cells.csv", "excluded.csv", "pulls_to_check.csv"}
    assert first["cells.csv"].count(b"\n") > 4
    assert tables(tiny, "second", **ONE_CORE) == first

"""A small version of scripts/checks/mutations.py: inputs changed at random break nothing."""

from pathlib import Path

import pytest

from holdcast import load
from mutations import run_block, tries_of

NUMBERS = {"verdict": 60, "settings": 60, "requests": 15, "tree": 20, "campaign": 15, "workbook": 4}
NUMBERS |= {"file": 4, "command": 4}


@pytest.fixture(scope="module")
def tries(published: Path, tmp_path_factory: pytest.TempPathFactory) -> dict:
    return tries_of(tmp_path_factory.mktemp("mutations"), load(published))


@pytest.mark.long
@pytest.mark.parametrize("kind", NUMBERS)
def test_changed_inputs_are_read_or_refused_and_nothing_else(kind: str, tries: dict) -> None:
    line = run_block(kind, 0, NUMBERS[kind], tries[kind])
    assert line["broken_seeds"] == []
    assert line.get("refused", 0) > 0

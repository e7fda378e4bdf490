"""A small campaign that reads without a doubt, and a way to change any part of it."""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path

import pytest

from holdcast.campaign import Campaign, CampaignError, Finding, read_campaign

TODAY = date(2025, 1, 1)
Rows = Sequence[Mapping[str, str]]

ANCHORS = (
    {"anchor": "scoop 15", "design": "scoop", "form": "scoop", "mass_kg": "15", "tip_load_kg": "6"},
    {"anchor": "plough 20", "design": "", "form": "plough", "mass_kg": "20", "tip_load_kg": ""},
)
SEABEDS = (
    {"seabed": "mud", "soil": "clay", "strength": "low"},
    {"seabed": "beach", "soil": "sand", "strength": "medium_dense"},
)
TRIALS = (
    {"trial": "t1", "anchor": "scoop 15", "seabed": "mud", "test": "pull", "date": "2024-05-01",
     "held_kn": "1.5", "released_kn": "2"},
    {"trial": "t2", "anchor": "plough 20", "seabed": "beach", "test": "pull", "date": "2024-05-02",
     "held_kn": "1", "released_kn": "1.2"},
)  # fmt: skip
DEFAULTS = {"anchors": ANCHORS, "seabeds": SEABEDS, "trials": TRIALS}


def as_csv(rows: Rows, separator: str = ",") -> str:
    """Rows as CSV text, the header made of every key in the order met."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, names, delimiter=separator, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def changed(rows: Rows, place: int = 0, **cells: str) -> list[dict[str, str]]:
    """Rows with some cells of one row set; a cell of a new column is blank in the others."""
    return [{**row, **(cells if at == place else {})} for at, row in enumerate(rows)]


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Write a campaign; each keyword is a file: rows, text, bytes, or None to leave the file out."""

    def write(settings: str | bytes | None = None, **files: Rows | str | bytes | None) -> Path:
        folder = tmp_path / "campaign"
        folder.mkdir(exist_ok=True)
        contents = {f"{name}.csv": content for name, content in (DEFAULTS | files).items()}
        for name, content in ({"campaign.toml": settings} | contents).items():
            if content is None:
                continue
            content = content if isinstance(content, str | bytes) else as_csv(content)
            data = content.encode() if isinstance(content, str) else content
            (folder / name).write_bytes(data)
        return folder

    return write


@pytest.fixture
def read(write: Callable[..., Path]) -> Callable[..., Campaign]:
    """Write a campaign and read it as on the first day of 2025."""
    return lambda **files: read_campaign(write(**files), today=TODAY)


@pytest.fixture
def findings(write: Callable[..., Path]) -> Callable[..., tuple[Finding, ...]]:
    """Write a campaign and return everything found in it, faults or not."""

    def findings(**files: Rows | str | bytes | None) -> tuple[Finding, ...]:
        try:
            return read_campaign(write(**files), today=TODAY).doubts
        except CampaignError as error:
            assert any(finding.severity == "fault" for finding in error.findings)
            return error.findings

    return findings


class Tables:
    """The rows of the small campaign and how to change them, for tests to use without imports."""

    anchors, seabeds, trials = ANCHORS, SEABEDS, TRIALS
    changed = staticmethod(changed)
    as_csv = staticmethod(as_csv)


@pytest.fixture
def tables() -> type[Tables]:
    """The rows of the small campaign."""
    return Tables

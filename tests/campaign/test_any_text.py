"""Whatever stands in the files, reading gives a campaign or findings, and nothing else; and quickly."""

import csv
import io
import subprocess
import sys
import time
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from holdcast.campaign import CampaignError, accounting, read_campaign, write_starter
from holdcast.campaign.columns.known_columns import FILES
from holdcast.campaign.files.starter import STARTER_FILES

CSV_FILES = [name for name in STARTER_FILES if name.endswith(".csv")]
CELLS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(["", "0", "-1", "1,200", "1.200,5", "nan", "1e308", "1e-308", "1e-320", "=1+1", "no"]),
    st.sampled_from(["clay", "2024-05-31", "pull", "reset", "veer", "example scoop 15"]),
    st.floats().map(repr),
)  # fmt: skip


def read_or_findings(folder):
    """Read the folder; only CampaignError may come."""
    try:
        campaign = read_campaign(folder, today=date(2025, 1, 1))
    except CampaignError as error:
        assert any(f.severity == "fault" for f in error.findings)
        assert str(error)
        return
    counts = accounting(campaign)
    assert counts["rows in"] == counts["used"] + counts["excluded"]
    pulls = campaign.trials[campaign.trials["status"] == "used"]
    assert (pulls["released_n"] >= pulls["held_n"]).all()
    assert campaign.trials["anchor"].isin(campaign.anchors.index).all()
    assert (campaign.anchors["mass_kg"] > 0).all()


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_any_text_in_any_cells(data):
    with TemporaryDirectory() as name:
        folder = Path(name)
        write_starter(folder)
        for file in CSV_FILES:
            rows = list(csv.reader(io.StringIO(STARTER_FILES[file])))
            for place in data.draw(st.sets(st.integers(0, len(rows[1]) - 1), max_size=3)):
                rows[1][place] = data.draw(CELLS)
            with (folder / file).open("w", encoding="utf-8", errors="ignore", newline="") as out:
                csv.writer(out).writerows([*rows, rows[1]])
        read_or_findings(folder)


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from([*CSV_FILES, "campaign.toml"]), st.one_of(st.binary(max_size=80), st.text(max_size=80))
)
def test_any_bytes_in_a_file(file, content):
    data = content if isinstance(content, bytes) else content.encode("utf-8", "ignore")
    with TemporaryDirectory() as name:
        write_starter(name)
        (Path(name) / file).write_bytes(data)
        read_or_findings(Path(name))


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(FILES), st.lists(st.text(max_size=15), min_size=1, max_size=6))
def test_any_header(spec, names):
    with TemporaryDirectory() as name:
        write_starter(name)
        with (Path(name) / spec.file).open("w", encoding="utf-8", errors="ignore", newline="") as out:
            csv.writer(out).writerows([[spec.label, *names], ["x"] * (len(names) + 1)])
        read_or_findings(Path(name))


@pytest.mark.parametrize("good", [True, False])
def test_a_long_log_reads_quickly(write, tables, good):
    """35,000 rows; read in 1.3 s on two slow cores, so the limit leaves room for a busy machine."""
    one, other = tables.trials
    trials = [{**one, "trial": f"t{n}", "held_kn": str(1 + n % 997 / 1000)} for n in range(34_999)] + [other]
    if not good:
        trials = [{**row, "anchor": f"nobody {row['trial']}", "held_kn": "x"} for row in trials]
    folder = write(trials=trials)
    begin = time.perf_counter()
    read_or_findings(folder)
    assert time.perf_counter() - begin < 6.0


def test_import_is_light():
    heavy = "pymc", "xarray", "arviz", "matplotlib"
    code = f"import sys, holdcast.campaign; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

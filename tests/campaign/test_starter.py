"""The empty campaign."""

from pathlib import Path

import pytest

from holdcast.campaign import CampaignError, accounting, read_campaign, write_starter
from holdcast.physics.units import FACTORS

NAMES = [
    "GUIDE.md",
    "campaign.toml",
    "anchors.csv",
    "seabeds.csv",
    "trials.csv",
    "rodes.csv",
    "instruments.csv",
]


def test_starter_reads_and_each_example_row_is_doubted(tmp_path):
    written = write_starter(tmp_path / "new" / "campaign")
    assert [path.name for path in written] == NAMES
    campaign = read_campaign(tmp_path / "new" / "campaign")
    assert {doubt.file for doubt in campaign.doubts} == {name for name in NAMES if name.endswith(".csv")}
    assert all(doubt.row == 2 and "delete the row" in doubt.fix for doubt in campaign.doubts)
    assert accounting(campaign) == {"rows in": 1, "used": 1, "excluded": 0}


def test_commented_settings_are_good_when_uncommented(tmp_path):
    write_starter(tmp_path)
    path = tmp_path / "campaign.toml"
    options = [line.removeprefix("# ") for line in path.read_text().splitlines() if "Everything" not in line]
    path.write_text("\n".join(options))
    campaign = read_campaign(tmp_path)
    assert campaign.boat == {"bow_height_m": 1.2}
    assert campaign.weights == {"example seabed": 1.0}
    assert campaign.thresholds == {"efficiency": 10.0}
    assert campaign.priors == {"NAME": {}}


def test_guide_begins_with_safety_and_names_every_column(tmp_path):
    from holdcast.campaign.columns.known_columns import FILES

    write_starter(tmp_path)
    guide = (tmp_path / "GUIDE.md").read_text(encoding="utf-8")
    headings = [line for line in guide.splitlines() if line.startswith("## ")]
    assert headings[0] == "## First: safety on the water"
    for phrase in (
        "Stand clear of a loaded rode",
        "working load",
        "Life jackets",
        "local rules",
        "no guarantee",
    ):
        assert phrase in guide
    for file in FILES[:3]:
        for column in file.columns:
            assert column.name in guide, column.name
    for units in FACTORS.values():
        if len(units) > 1:
            assert [unit for unit in units if f"_{unit}" not in guide] == []


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_overwritten(tmp_path, name):
    (tmp_path / name).write_text("mine")
    with pytest.raises(CampaignError, match=f"{name}: it is in .* already.*Nothing was written"):
        write_starter(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_broken_link_is_not_written_through(tmp_path):
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / "trials.csv").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(CampaignError, match=r"trials\.csv: it is in new already"):
        write_starter(tmp_path / "new")
    assert not (tmp_path / "elsewhere").exists()


def test_path_of_a_file(tmp_path):
    path: Path = tmp_path / "file"
    path.write_text("mine")
    with pytest.raises(CampaignError, match="Choose the name of a folder"):
        write_starter(path)
    assert path.read_text() == "mine"


def test_other_files_may_be_there(tmp_path):
    (tmp_path / "photo.jpg").write_bytes(b"x")
    assert len(write_starter(tmp_path)) == len(NAMES)

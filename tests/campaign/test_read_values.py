"""What a sound campaign becomes."""

import math

import numpy as np
import pandas as pd
import pytest

from holdcast.campaign import accounting, read_campaign


def test_small_campaign_reads_without_a_doubt(read):
    campaign = read()
    assert campaign.doubts == ()
    assert list(campaign.anchors.index) == ["scoop 15", "plough 20"]
    assert campaign.anchors.loc["plough 20", "design"] == "plough 20"
    assert math.isnan(campaign.anchors.loc["plough 20", "tip_load_kg"])
    assert campaign.trials.loc["t1", ["held_n", "released_n"]].tolist() == [1500.0, 2000.0]
    assert campaign.trials.loc["t1", ["visit", "stopped_by", "load_at"]].tolist() == [
        "2024-05-01", "anchor", "bow",
    ]  # fmt: skip
    assert campaign.trials.loc["t1", "date"] == pd.Timestamp("2024-05-01")
    assert campaign.seabeds.loc["mud", "strength_scheme"] == "iso_14688_2"
    assert (campaign.title, campaign.units, campaign.boat, campaign.weights) == ("", "si", {}, {})


def test_frames_have_the_columns_promised(read):
    campaign = read()
    assert set(campaign.anchors) == {
        "design", "form", "mass_kg", "tip_load_kg", "fluke_area_m2", "fluke_angle_deg", "shank_length_m",
        "shackle_in", "source", "measured_by",
    }  # fmt: skip
    assert set(campaign.seabeds) == {
        "soil", "secondary", "strength", "strength_scheme", "strength_basis", "undrained_strength_kpa",
        "friction_angle_deg", "cover", "site", "travel_h", "setup_h", "pull_h",
    }  # fmt: skip
    assert set(campaign.trials) == {
        "anchor", "seabed", "test", "date", "visit", "held_n", "released_n", "stopped_by", "load_at",
        "speed_mps", "scope", "rode_length_m", "depth_m", "bow_height_m", "rode", "chain_kg_per_m",
        "chain_length_m", "drag_m", "hold_s", "soak_h", "instrument", "set", "attempts", "successes",
        "reversal_deg", "veer_deg", "veer_held_deg", "exclude", "note", "photo", "status",
    }  # fmt: skip
    assert set(campaign.rodes) == {"chain_kg_per_m", "chain_length_m", "grade", "chain_mm", "shackle_in"}
    assert set(campaign.instruments) == {"calibrated", "error_pct"}
    assert campaign.rodes.empty
    assert campaign.instruments.index.name == "instrument"


def test_us_units_become_si(read, tables):
    anchors = [{"anchor": "scoop 15", "mass_lb": "33", "tip_load_lb": "11", "fluke_area_in2": "155",
                "shank_length_ft": "2", "shackle_in": "3/8"},
               {"anchor": "plough 20", "mass_lb": "44"}]  # fmt: skip
    trials = [
        {**tables.trials[0], "held_kn": "", "released_kn": "", "held_lbf": "300", "released_lbf": "400",
         "speed_kt": "0.1", "depth_ft": "20", "bow_height_ft": "4", "rode_length_ft": "120",
         "chain_lb_per_ft": "1", "chain_length_ft": "30"},
        {**tables.trials[1], "held_kn": "", "released_kn": "", "released_lbf": "400"},
    ]  # fmt: skip
    trials = [{k: v for k, v in row.items() if not k.endswith("_kn")} for row in trials]
    seabeds = tables.changed(tables.seabeds, undrained_strength_psf="500")
    campaign = read(anchors=anchors, trials=trials, seabeds=seabeds)
    anchor, trial = campaign.anchors.loc["scoop 15"], campaign.trials.loc["t1"]
    assert anchor["mass_kg"] == pytest.approx(33 * 0.45359237)
    assert anchor["fluke_area_m2"] == pytest.approx(155 * 0.0254**2)
    assert anchor["shackle_in"] == 0.375
    assert trial["held_n"] == pytest.approx(300 * 4.4482216152605)
    assert trial["speed_mps"] == pytest.approx(0.0514444, rel=1e-5)
    assert trial["chain_kg_per_m"] == pytest.approx(1.4881639, rel=1e-7)
    assert campaign.seabeds.loc["mud", "undrained_strength_kpa"] == pytest.approx(23.940, rel=1e-4)
    assert campaign.seabeds.loc["mud", "strength"] == "low"


def test_tip_fraction_becomes_a_tip_load(read, tables):
    anchors = [{"anchor": "scoop 15", "mass_kg": "15", "tip_fraction": "0.4"}, tables.anchors[1]]
    campaign = read(anchors=anchors)
    assert campaign.anchors.loc["scoop 15", "tip_load_kg"] == pytest.approx(6.0)
    assert "tip_fraction" not in campaign.anchors


def test_blank_loads_are_open_ends(read, tables):
    trials = [
        {**tables.trials[0], "held_kn": "3", "released_kn": "", "stopped_by": "boat_limit"},
        {**tables.trials[1], "held_kn": "", "released_kn": "0.5"},
    ]
    campaign = read(trials=trials)
    assert campaign.trials["held_n"].tolist() == [3000.0, 0.0]
    assert campaign.trials["released_n"].tolist() == [np.inf, 500.0]
    assert campaign.trials["stopped_by"].tolist() == ["boat_limit", "anchor"]


def test_rows_without_date_and_visit_are_visits_of_their_own(read, tables):
    trials = [{**row, "date": ""} for row in tables.trials]
    assert read(trials=trials).trials["visit"].nunique() == 2


def test_every_row_is_accounted_for(read, tables):
    more = [
        {**tables.trials[0], "trial": "t3", "test": "reset", "held_kn": "", "released_kn": "",
         "attempts": "3", "successes": "2"},
        {**tables.trials[0], "trial": "t4", "test": "veer", "held_kn": "", "released_kn": "",
         "veer_deg": "90"},
        {**tables.trials[0], "trial": "t5", "exclude": "fouled"},
        {**tables.trials[0], "trial": "t6", "test": "veer", "veer_deg": "90", "exclude": "fouled"},
    ]  # fmt: skip
    campaign = read(trials=[*tables.trials, *more])
    assert campaign.trials["status"].tolist() == [
        "used", "used", "used", "used", "excluded", "excluded",
    ]  # fmt: skip
    counts = accounting(campaign)
    assert counts == {"rows in": 6, "used": 4, "excluded": 2}
    assert campaign.trials.loc["t3", "reversal_deg"] == 180.0
    assert math.isnan(campaign.trials.loc["t4", "veer_held_deg"])
    campaign.trials.loc["t1", "status"] = "lost"
    with pytest.raises(ValueError, match="unknown status lost; known: used, excluded"):
        accounting(campaign)


def test_unknown_columns_and_flags_ride_along(read, tables):
    anchors = tables.changed(tables.anchors, price="1,200", Finish="dull", flag_roll_bar="YES")
    campaign = read(anchors=anchors)
    assert campaign.anchors["price"].tolist() == ["1,200", ""]
    assert campaign.anchors["Finish"].tolist() == ["dull", ""]
    assert campaign.anchors["flag_roll_bar"].tolist() == [True, False]
    assert campaign.anchors["flag_roll_bar"].dtype == bool


@pytest.mark.parametrize("name", ["=1+1", "<script>alert(1)</script>", "../../x", "Å´s {0} %s", "'; --"])
def test_odd_names_are_just_text(read, tables, name):
    anchors = tables.changed(tables.anchors, anchor=name)
    campaign = read(anchors=anchors, trials=tables.changed(tables.trials, anchor=name))
    assert name in campaign.anchors.index
    assert campaign.trials.loc["t1", "anchor"] == name


def test_header_names_ignore_case_and_white_space(read):
    campaign = read(anchors=" Anchor , MASS_kg\nscoop 15,15\nplough 20,20\n")
    assert campaign.anchors["mass_kg"].tolist() == [15.0, 20.0]


def test_digest_follows_bytes_not_place(write, tmp_path):
    first = read_campaign(write()).digest
    copy = tmp_path / "copy"
    (tmp_path / "campaign").rename(copy)
    (copy / "notes.txt").write_text("not an input")
    assert read_campaign(copy).digest == first
    assert len(first) == 64
    with (copy / "trials.csv").open("a") as file:
        file.write("\n")
    assert read_campaign(copy).digest != first


def test_rodes_and_instruments(read, tables):
    trials = tables.changed(tables.trials, rode="light", instrument="cell")
    campaign = read(
        trials=trials,
        rodes="rode,chain_kg_per_m,chain_length_m,grade,chain_in,shackle_in\nlight,1.4,10,40,5/16,3/8\n",
        instruments="instrument,calibrated,error_pct\ncell,2024-01-01,1\n",
    )
    assert campaign.rodes.loc["light", "chain_mm"] == pytest.approx(7.9375)
    assert campaign.rodes.loc["light", "grade"] == "40"
    assert campaign.instruments.loc["cell", "error_pct"] == 1.0
    assert campaign.trials.loc["t1", "rode"] == "light"

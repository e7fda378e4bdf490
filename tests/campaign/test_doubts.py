"""Doubts: shown, and the campaign reads all the same."""

from datetime import date

import pytest

from holdcast.campaign import read_campaign

CASES = [
    ("anchors", 0, {"tip_load_kg": "0.5"}, "tip_load_kg", "usually 0.05 to 0.7"),
    ("anchors", 1, {"tip_fraction": "0.9"}, "tip_fraction", "usually 0.05 to 0.7"),
    ("anchors", 0, {"fluke_area_cm2": "100000"}, "fluke_area_cm2", "mostly has 0.018 to 0.36 m²"),
    ("seabeds", 1, {"undrained_strength_kpa": "30"}, "undrained_strength_kpa", "a measure of clay and silt"),
    ("seabeds", 0, {"friction_angle_deg": "30"}, "friction_angle_deg", "a measure of sand"),
    ("seabeds", 0, {"secondary": "clay"}, "secondary", "another soil"),
    ("trials", 0, {"date": "2025-01-02"}, "date", "not after 2025-01-01"),
    ("trials", 0, {"held_kn": "0.001"}, "held_kn", "0.0068 times the anchor's weight"),
    ("trials", 0, {"released_kn": "200"}, "released_kn", "1.36e+03 times the anchor's weight"),
    ("trials", 0, {"released_kn": ""}, "stopped_by", "Write why the pull ended"),
    ("trials", 0, {"attempts": "2"}, "attempts", "speaks of a reset"),
    ("trials", 0, {"veer_deg": "90"}, "veer_deg", "speaks of a veer"),
    ("trials", 0, {"instrument": "cell"}, "instrument", "no instruments.csv"),
]


@pytest.mark.parametrize(("file", "place", "cells", "column", "said"), CASES)
def test_one_doubt(read, tables, file, place, cells, column, said):
    (doubt,) = read(**{file: tables.changed(getattr(tables, file), place, **cells)}).doubts
    assert (doubt.severity, doubt.file, doubt.column) == ("doubt", f"{file}.csv", column)
    assert doubt.row in {place + 2, None}
    assert said in f"{doubt.found}|{doubt.allowed}|{doubt.fix}"


def test_ambiguous_thousands_say_how_they_are_read(read, tables):
    campaign = read(trials=tables.as_csv(tables.changed(tables.trials, held_kn="1,200"), ";"))
    (doubt,) = campaign.doubts
    assert doubt.fix == "It is read as 1.2; if 1200 is meant, write it without a separator."
    assert campaign.trials.loc["t1", "held_n"] == pytest.approx(1200.0)


@pytest.mark.parametrize("cell", ["no", "0", "FALSE"])
def test_exclude_no_asks_whether_the_row_counts(read, tables, cell):
    campaign = read(trials=tables.changed(tables.trials, exclude=cell))
    doubt = next(d for d in campaign.doubts if d.column == "exclude")
    assert "meant to count" in doubt.fix
    assert campaign.trials.loc["t1", "status"] == "excluded"


def test_exclude_without_a_reason(read, tables):
    doubts = read(trials=tables.changed(tables.trials, exclude="yes")).doubts
    assert next(d for d in doubts if d.column == "exclude").fix.startswith("Write why")


def test_anchor_and_seabed_without_a_pull(read, tables):
    campaign = read(trials=tables.trials[:1])
    assert [(d.file, d.found) for d in campaign.doubts] == [
        ("anchors.csv", "'plough 20'"), ("seabeds.csv", "'beach'"),
    ]  # fmt: skip


def test_masses_of_a_design_far_apart(read, tables):
    heavy = {**tables.anchors[0], "anchor": "scoop big", "mass_kg": "15000", "tip_load_kg": ""}
    trial = {**tables.trials[0], "trial": "t3", "anchor": "scoop big", "held_kn": "400", "released_kn": "500"}
    doubts = read(anchors=[*tables.anchors, heavy], trials=[*tables.trials, trial]).doubts
    assert "masses of a design within 50 times" in {d.allowed for d in doubts}


@pytest.mark.parametrize(("label", "doubted"), [("scoop-15", True), ("scoops 15", True), ("scoop 16", False)])
def test_labels_that_are_nearly_the_same(read, tables, label, doubted):
    anchors = [*tables.anchors, {**tables.anchors[0], "anchor": label}]
    trial = {**tables.trials[0], "trial": "t3", "anchor": label, "held_kn": "1.4"}
    doubts = read(anchors=anchors, trials=[*tables.trials, trial]).doubts
    assert [d.found for d in doubts] == ([f"'{label}', very like 'scoop 15'"] if doubted else [])


def test_a_row_entered_twice(read, tables):
    campaign = read(trials=[*tables.trials, {**tables.trials[0], "trial": "t3"}])
    (doubt,) = campaign.doubts
    assert (doubt.row, doubt.column) == (4, "trial")
    assert "entered twice" in doubt.fix


def test_one_visit_name_on_two_days(read, tables):
    trials = [{**tables.trials[0], "visit": "1"}, tables.trials[1],
              {**tables.trials[0], "trial": "t3", "date": "2024-06-01", "visit": "1"}]  # fmt: skip
    (doubt,) = read(trials=trials).doubts
    assert (doubt.row, doubt.column) == (4, "visit")


def test_calibration_in_the_future(read):
    (doubt,) = read(instruments="instrument,calibrated\ncell,2031-01-01\n").doubts
    assert (doubt.file, doubt.column) == ("instruments.csv", "calibrated")


def test_strength_class_of_rock(read, tables):
    (doubt,) = read(seabeds=tables.changed(tables.seabeds, 1, soil="rock", strength="dense")).doubts
    assert (doubt.column, doubt.fix) == ("strength", "A strength class says nothing of rock.")


def test_today_is_the_default(write, tables):
    folder = write(trials=tables.changed(tables.trials, date="9999-12-31"))
    assert [d.column for d in read_campaign(folder).doubts] == ["date"]
    assert read_campaign(folder, today=date.max).doubts == ()

"""Each kind of fault: where it is found, what is allowed, what to do."""

import pytest

from holdcast.campaign import CampaignError, read_campaign

# file, row changed (0 is spreadsheet row 2), cells changed, column named, part of found/allowed/fix
CASES = [
    ("anchors", 0, {"mass_kg": ""}, "mass_kg", "Fill the cell"),
    ("anchors", 0, {"mass_kg": "-3"}, "mass_kg", "a number 0.01 or more"),
    ("anchors", 0, {"mass_kg": "1,200"}, "mass_kg", "Write 1200 or 1.200, whichever is meant"),
    ("anchors", 0, {"mass_kg": "nan"}, "mass_kg", "Leave the cell blank"),
    ("anchors", 0, {"tip_load_kg": "16"}, "tip_load_kg", "at most the anchor's mass"),
    ("anchors", 0, {"tip_fraction": "0.2"}, "tip_fraction", "Tip load over mass is 0.400"),
    ("anchors", 1, {"tip_fraction": "35"}, "tip_fraction", "above 0, not over 1"),
    ("anchors", 1, {"anchor": "Scoop 15"}, "anchor", "Row 2 has it already"),
    ("anchors", 1, {"design": "Scoop"}, "design", "Write scoop as in the rows before"),
    ("anchors", 0, {"form": "scop"}, "form", "Did you mean scoop?"),
    ("anchors", 0, {"form": "twin fluke"}, "form", "Did you mean twin_fluke?"),
    ("anchors", 0, {"flag_roll_bar": "maybe"}, "flag_roll_bar", "yes, no"),
    ("anchors", 0, {"anchor": "scoop\x07 15"}, "anchor", "hidden characters (U+0007)"),
    ("anchors", 0, {"anchor": "scoop\u200b15"}, "anchor", "hidden characters (U+200B)"),
    ("anchors", 0, {"anchor": "scoop\n15"}, "anchor", "hidden characters (U+000A)"),
    ("anchors", 0, {"source": "bought\x1b[31m"}, "source", "hidden characters (U+001B)"),
    ("seabeds", 0, {"soil": "mud"}, "soil", "clay, silt, sand, gravel, cobble, rock"),
    ("seabeds", 0, {"secondary": "sandy"}, "secondary", "Did you mean sand?"),
    ("seabeds", 0, {"strength": "dense"}, "strength", "not used for clay"),
    ("seabeds", 1, {"strength": "low"}, "strength", "not used for sand"),
    ("seabeds", 0, {"strength": "soft"}, "strength", "belongs to the scheme bs_5930 or terzaghi_peck"),
    ("seabeds", 0, {"strength": "mediun"}, "strength", "Did you mean medium?"),
    ("seabeds", 0, {"strength_scheme": "bs_5390"}, "strength_scheme", "Did you mean bs_5930?"),
    ("seabeds", 0, {"strength_scheme": "bs_5930"}, "strength", "stiff, very_stiff (clay, bs_5930)"),
    ("seabeds", 0, {"undrained_strength_kpa": "0"}, "undrained_strength_kpa", "above 0"),
    ("seabeds", 1, {"friction_angle_deg": "55"}, "friction_angle_deg", "not over 50"),
    ("seabeds", 1, {"seabed": "MUD"}, "seabed", "Row 2 has it already"),
    ("trials", 1, {"trial": "t1"}, "trial", "Row 2 has it already"),
    ("trials", 1, {"visit": "MORNING"}, "visit", "Write morning as in the rows before"),
    ("trials", 0, {"anchor": "scop 15"}, "anchor", "Did you mean scoop 15?"),
    ("trials", 0, {"anchor": "Scoop 15"}, "anchor", "Did you mean scoop 15?"),
    ("trials", 0, {"anchor": "zzz"}, "anchor", "Add a row for it to anchors.csv"),
    ("trials", 0, {"anchor": ""}, "anchor", "Fill the cell"),
    ("trials", 0, {"seabed": "mudd"}, "seabed", "Did you mean mud?"),
    ("trials", 0, {"rode": "light"}, "rode", "a name in rodes.csv"),
    ("trials", 0, {"test": "pul"}, "test", "Did you mean pull?"),
    ("trials", 0, {"date": "1.5.2024"}, "date", "a date such as 2024-05-31"),
    ("trials", 0, {"held_kn": "-1"}, "held_kn", "0 or more"),
    ("trials", 0, {"released_kn": "0"}, "released_kn", "above 0"),
    ("trials", 0, {"released_kn": "inf"}, "released_kn", "Write the number read"),
    ("trials", 0, {"released_kn": "1.4"}, "released_kn", "at least the load held"),
    ("trials", 0, {"held_kn": "", "released_kn": ""}, "held_kn", "held and released both blank"),
    ("trials", 0, {"held_kn": "0", "released_kn": ""}, "held_kn", "held and released both blank"),
    ("trials", 0, {"stopped_by": "boat_limit"}, "stopped_by", "when released is given"),
    ("trials", 0, {"stopped_by": "boat limit"}, "stopped_by", "Did you mean boat_limit?"),
    ("trials", 0, {"stopped_by": "anchor", "released_kn": ""}, "stopped_by", "when released is blank"),
    ("trials", 0, {"load_at": "stern"}, "load_at", "bow, anchor"),
    ("trials", 0, {"speed_kt": "0"}, "speed_kt", "above 0"),
    ("trials", 0, {"scope": "0.5"}, "scope", "1 or more"),
    (
        "trials", 0, {"scope": "7", "rode_length_m": "30", "depth_m": "5", "bow_height_m": "1"}, "scope",
        "Those give 5: correct one",
    ),
    ("trials", 0, {"scope": "7", "rode_length_m": "30", "depth_m": "5"}, "scope", "Those give 6"),
    ("trials", 0, {"rode_length_m": "4", "depth_m": "5"}, "rode_length_m", "depth and bow height together"),
    ("trials", 0, {"chain_kg_per_m": "1.4"}, "chain_length_m", "weight and its length together"),
    ("trials", 0, {"chain_length_m": "10"}, "chain_kg_per_m", "weight and its length together"),
    ("trials", 0, {"test": "reset", "attempts": "2", "successes": "3"}, "successes", "at most the attempts"),
    ("trials", 0, {"set": "maybe"}, "set", "yes, no"),
    ("trials", 0, {"set": "yes", "held_kn": "", "released_kn": ""}, "held_kn", "released both blank"),
    ("trials", 0, {"set": "maybe", "held_kn": "", "released_kn": ""}, "set", "yes, no"),
    ("trials", 0, {"test": "reset", "attempts": "0", "successes": "0"}, "attempts", "1 or more"),
    ("trials", 0, {"test": "reset", "attempts": "2.5", "successes": "1"}, "attempts", "a whole number"),
    ("trials", 0, {"test": "reset", "attempts": "2"}, "successes", "a single reset is 1 of 1"),
    ("trials", 0, {"test": "veer"}, "veer_deg", "angle that was asked for"),
    ("trials", 0, {"test": "veer", "veer_deg": "90", "veer_held_deg": "99"}, "veer_held_deg", "at most veer"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "place", "cells", "column", "said"), CASES)
def test_one_fault(findings, tables, file, place, cells, column, said):
    before = {"visit": "morning"} if "visit" in cells else {}
    rows = tables.changed(tables.changed(getattr(tables, file), 0, **before), place, **cells)
    faults = [f for f in findings(**{file: rows}) if f.severity == "fault" and f.file == f"{file}.csv"]
    assert len(faults) == 1
    assert (faults[0].row, faults[0].column) == (place + 2, column)
    assert said in f"{faults[0].found}|{faults[0].allowed}|{faults[0].fix}"
    assert faults[0].fix.endswith((".", "?"))


def test_error_text_names_everything(write, tables):
    folder = write(trials=tables.changed(tables.trials, held_kn="1,200"))
    with pytest.raises(
        CampaignError, match=r"1 fault\n.*trials.csv, row 2, column held_kn: '1,200'. Allowed: a"
    ):
        read_campaign(folder)


def test_point_as_thousands_in_a_column_of_decimal_commas(findings, tables):
    trials = tables.as_csv([{**tables.trials[0], "held_kn": "1.200", "released_kn": "2000"},
                            {**tables.trials[1], "held_kn": "1,5", "released_kn": "2"}], ";")  # fmt: skip
    (fault,) = [f for f in findings(trials=trials) if f.severity == "fault"]
    assert fault.found == "'1.200'"
    assert "looks like a thousands separator" in fault.fix


def test_rode_named_and_another_chain_given(findings, tables):
    trials = tables.changed(tables.trials, rode="light", chain_kg_per_m="2.2", chain_length_m="10")
    (fault,) = findings(trials=trials, rodes="rode,chain_kg_per_m,chain_length_m\nlight,1.4,10\n")
    assert (fault.column, fault.allowed) == ("chain_kg_per_m", "what rodes.csv says")


def test_unknown_instrument(findings, tables):
    trials = tables.changed(tables.trials, instrument="cel A")
    (fault,) = findings(trials=trials, instruments="instrument,error_pct\ncell A,1\n")
    assert (fault.severity, fault.fix) == ("fault", "Did you mean cell A?")


def test_bow_height_of_the_boat_counts_in_the_scope(read, findings, tables):
    trials = tables.changed(tables.trials, scope="5", rode_length_m="30", depth_m="5")
    assert read(trials=trials, settings="[boat]\nbow_height_m = 1.0").doubts == ()
    (fault,) = findings(trials=trials, settings="[boat]\nbow_height_m = 3.0")
    assert "Those give 3.75" in fault.fix


def test_all_faults_of_all_files_at_once(findings, tables):
    found = findings(
        settings="titel = 'x'",
        anchors=tables.changed(tables.anchors, mass_kg="heavy"),
        seabeds=tables.changed(tables.seabeds, soil="mud"),
        trials=tables.changed(
            tables.changed(tables.trials, held_kn="x", anchor="y"), 1, date="May", exclude="no"
        ),
        instruments="instrument,error_pct\ncell,much\n",
    )
    places = [(f.file, f.row, f.column) for f in found if f.severity == "fault"]
    assert places == [
        ("campaign.toml", None, ""),
        ("anchors.csv", 2, "mass_kg"),
        ("seabeds.csv", 2, "soil"),
        ("trials.csv", 2, "held_kn"),
        ("trials.csv", 2, "anchor"),
        ("trials.csv", 3, "date"),
        ("instruments.csv", 2, "error_pct"),
    ]
    assert any(f.severity == "doubt" and f.column == "exclude" for f in found)


def test_faulty_readings_of_an_excluded_row_are_doubts(read, findings, tables):
    trials = tables.changed(tables.trials, held_kn="x", released_kn="-1", exclude="fouled on a cable")
    assert [(d.severity, d.column) for d in read(trials=trials).doubts][-2:] == [
        ("doubt", "held_kn"), ("doubt", "released_kn"),
    ]  # fmt: skip
    blank = tables.changed(tables.trials, held_kn="", released_kn="", exclude="fouled")
    assert read(trials=blank).trials["status"].tolist() == ["excluded", "used"]
    unknown = tables.changed(tables.trials, anchor="zzz", exclude="fouled")
    assert [f.column for f in findings(trials=unknown) if f.severity == "fault"] == ["anchor"]


def test_a_flood_is_capped_and_counted_and_hides_no_other_fault(findings, tables):
    trials = [{**tables.trials[0], "trial": f"t{n}", "held_kn": "x"} for n in range(1000)]
    trials[500]["seabed"] = "zzz"
    found = [f for f in findings(trials=trials) if f.severity == "fault"]
    assert len(found) == 201
    assert found[-1].found == "801 more faults not shown"
    assert any(f.column == "seabed" and f.row == 502 for f in found)


def test_nothing_is_written_and_no_file_changed_on_bad_input(write, tables):
    folder = write(trials=tables.changed(tables.trials, held_kn="x"))
    before = {path: path.read_bytes() for path in folder.rglob("*")}
    with pytest.raises(CampaignError, match="1 fault"):
        read_campaign(folder)
    assert {path: path.read_bytes() for path in folder.rglob("*")} == before

"""Column names: slips are named back, names of one's own ride along."""

import pytest

from holdcast.campaign.columns.carried_columns import carried_columns


def faults(found):
    return [f for f in found if f.severity == "fault"]


@pytest.mark.parametrize(
    ("file", "name", "likely"),
    [
        ("anchors", "desing", "design"),
        ("anchors", "tip load_kg", "tip_load_kg"),
        ("anchors", "tip_load_kgs", "tip_load_kg"),
        ("anchors", "shackel_in", "shackle_in"),
        ("seabeds", "strenght", "strength"),
        ("trials", "notes", "note"),
        ("trials", "speed_knots", "speed_kt"),
        ("trials", "realeased_lbf", "released_lbf"),
        ("trials", "stoped_by", "stopped_by"),
    ],
)
def test_near_misses_are_faults_with_the_likely_name(findings, tables, file, name, likely):
    (fault,) = faults(findings(**{file: tables.changed(getattr(tables, file), **{name: "1"})}))
    assert (fault.row, fault.column) == (1, name)
    assert fault.fix.startswith(f"Did you mean {likely}?")


@pytest.mark.parametrize("name", ["flags_roll_bar", "flg_roll_bar"])
def test_near_misses_of_a_flag(findings, tables, name):
    (fault,) = faults(findings(anchors=tables.changed(tables.anchors, **{name: "yes"})))
    assert fault.fix == "Did you mean flag_roll_bar?"


def test_a_flag_without_a_name_is_a_fault(findings, tables):
    (fault,) = faults(findings(anchors=tables.changed(tables.anchors, flag_="yes")))
    assert (fault.row, fault.column, fault.allowed) == (1, "flag_", "flag_NAME")


def test_near_miss_of_a_needed_column_is_one_fault(findings):
    (fault,) = faults(findings(seabeds="seabed,soill\nmud,clay\nbeach,sand\n"))
    assert fault.fix.startswith("Did you mean soil?")


@pytest.mark.parametrize(
    "name", ["tester", "price", "wind_kt", "tide_m", "weather", "grab_photo_number", "crew"]
)
def test_names_of_ones_own_are_kept(read, tables, name):
    campaign = read(trials=tables.changed(tables.trials, **{name: "1,5"}))
    assert campaign.trials[name].tolist() == ["1,5", ""]
    assert campaign.doubts == ()


@pytest.mark.parametrize(
    ("file", "name", "likely"),
    [
        ("anchors", "mass (kg)", "mass_kg"),
        ("trials", "held [N]", "held_n"),
        ("trials", "Rode Length (m)", "rode_length_m"),
    ],
)
def test_a_unit_in_brackets_is_a_near_miss(findings, tables, file, name, likely):
    rows = tables.changed(getattr(tables, file), **{name: "1"})
    (fault,) = [each for each in faults(findings(**{file: rows})) if each.column == name]
    assert fault.fix.startswith(f"Did you mean {likely}?")


@pytest.mark.parametrize(
    ("file", "name", "likely"),
    [
        ("anchors", "tip_weight_kg", "tip_load_kg"),
        ("anchors", "area_cm2", "fluke_area_cm2"),
        ("seabeds", "strength_kpa", "undrained_strength_kpa"),
        ("trials", "let_go_n", "released_n"),
        ("trials", "exclude_reason", "exclude"),
    ],
)
def test_a_name_of_ones_own_that_ends_like_a_measure_or_begins_like_exclude_is_a_doubt(
    read, tables, file, name, likely
):
    (doubt,) = read(**{file: tables.changed(getattr(tables, file), **{name: "2"})}).doubts
    assert (doubt.severity, doubt.column, doubt.row) == ("doubt", name, 1)
    assert likely in doubt.allowed and "carried along" in doubt.fix


def test_a_needed_column_under_another_name_is_named(findings):
    told = findings(anchors="anchor,weight_kg\nscoop 15,15\nplough 20,20\n")
    (fault,) = faults(told)
    assert fault.fix == "Is it weight_kg? Then rename that column; else add one."
    assert not any("weight_kg" in each.found for each in told), "the fault is enough"
    told = findings(anchors="anchor,mas_kg,crate_kg\nscoop 15,15,2\nplough 20,20,2\n")
    assert {each.column for each in told if each.file == "anchors.csv"} >= {"mas_kg", "crate_kg"}


def test_columns_that_ride_along_are_told_by_file(read, tables):
    campaign = read(
        anchors=tables.changed(tables.anchors, price="100", flag_roll_bar="yes"),
        trials=tables.changed(tables.trials, crew="two", note="calm"),
    )
    assert carried_columns(campaign) == {"anchors.csv": ["price"], "trials.csv": ["crew"]}
    assert carried_columns(read()) == {}


def test_unknown_name_like_a_reading_is_a_doubt(read, tables):
    (doubt,) = read(trials=tables.changed(tables.trials, held_tonnes="1")).doubts
    assert (doubt.severity, doubt.column) == ("doubt", "held_tonnes")
    assert "carried along, not used" in doubt.fix


@pytest.mark.parametrize("name", ["held", "held_kg", "depth", "drag", "soak_s"])
def test_name_without_a_unit_of_its_kind(findings, tables, name):
    (fault,) = faults(findings(trials=tables.changed(tables.trials, **{name: "1"})))
    assert fault.column == name
    assert fault.fix == "End the name with the unit of its numbers."
    assert name.partition("_")[0] + "_" in fault.allowed


@pytest.mark.parametrize(
    ("header", "found"),
    [
        ("anchor,mass_kg,mass_kg", "the same column 2 times"),
        ("anchor,mass_kg,MASS_KG", "the same column 2 times"),
        ("anchor,mass_kg,mass_lb", "one quantity in two units (mass_kg, mass_lb)"),
    ],
)
def test_a_quantity_twice(findings, header, found):
    (fault,) = faults(findings(anchors=f"{header}\nscoop 15,15,33\nplough 20,20,44\n"))
    assert fault.found == found


def test_unknown_column_twice(findings):
    (fault,) = faults(findings(anchors="anchor,mass_kg,price,Price\nscoop 15,15,1,2\nplough 20,20,1,2\n"))
    assert fault.found == "the same column 2 times"


def test_flag_twice(findings):
    text = "anchor,mass_kg,flag_bar,FLAG_bar\nscoop 15,15,yes,no\nplough 20,20,,\n"
    (fault,) = faults(findings(anchors=text))
    assert fault.found == "the same column 2 times"


def test_filled_column_without_a_name(findings):
    (fault,) = faults(findings(anchors="anchor,mass_kg,\nscoop 15,15,x\nplough 20,20,\n"))
    assert fault.found == "a column without a name"


def test_hidden_characters_in_a_name(findings):
    (fault,) = faults(findings(anchors="anchor,mass_kg,pri\u200bce\nscoop 15,15,x\nplough 20,20,\n"))
    assert fault.found == "hidden characters in a name (U+200B)"


def test_name_that_the_results_need(findings, tables):
    (fault,) = faults(findings(trials=tables.changed(tables.trials, Status="ok")))
    assert fault.found == "the name Status"


@pytest.mark.parametrize(
    ("file", "text", "names"),
    [
        ("anchors", "anchor,form\nscoop 15,\nplough 20,\n", "mass_kg or mass_lb"),
        ("anchors", "design,mass_kg\na,1\n", "anchor"),
        ("seabeds", "seabed,strength\nmud,low\nbeach,dense\n", "soil"),
        ("trials", "anchor,seabed,test,held_n\nscoop 15,mud,pull,500\n", "trial"),
    ],
)
def test_needed_column_missing(findings, file, text, names):
    (fault,) = faults(findings(**{file: text}))
    assert (fault.file, fault.found) == (f"{file}.csv", f"no column {names}")


def test_neither_load_column(findings, tables):
    trials = [{key: row[key] for key in ("trial", "anchor", "seabed", "test")} for row in tables.trials]
    (fault,) = faults(findings(trials=trials))
    assert fault.found == "neither a column held_* nor released_*"

"""Doubts: shown, and the campaign reads all the same."""

import shutil
from datetime import date

import pytest

from holdcast.campaign import CampaignError, read_campaign
from holdcast.package_data import path

CASES = [
    ("anchors", 0, {"tip_load_kg": "0.5"}, "tip_load_kg", "usually 0.05 to 0.7"),
    ("anchors", 1, {"tip_fraction": "0.9"}, "tip_fraction", "usually 0.05 to 0.7"),
    ("anchors", 0, {"fluke_area_cm2": "100000"}, "fluke_area_cm2", "mostly has 0.018 to 0.36 m²"),
    ("seabeds", 1, {"undrained_strength_kpa": "30"}, "undrained_strength_kpa", "a measure of clay and silt"),
    ("seabeds", 0, {"friction_angle_deg": "30"}, "friction_angle_deg", "a measure of sand"),
    (
        "seabeds",
        0,
        {"strength": "very_low", "undrained_strength_kpa": "600"},
        "undrained_strength_kpa",
        "very_low means 10 to 20 kPa. The measured one counts",
    ),
    (
        "seabeds",
        0,
        {"strength": "High", "undrained_strength_kpa": "37"},
        "undrained_strength_kpa",
        "High means",
    ),
    (
        "seabeds",
        1,
        {"strength": "very_loose", "friction_angle_deg": "48"},
        "friction_angle_deg",
        "very_loose means 25 to 28°",
    ),
    ("seabeds", 0, {"secondary": "clay"}, "secondary", "another soil"),
    ("seabeds", 0, {"cover": "Kelp"}, "cover", "Write weed, if that is what it is."),
    ("seabeds", 1, {"cover": "shel"}, "cover", "Write shell, if that is what it is."),
    ("seabeds", 1, {"cover": "old nets"}, "cover", "it is a cover of its own"),
    ("seabeds", 1, {"cover": "sand"}, "cover", "what lies on top of the soil"),
    ("trials", 0, {"date": "2025-01-02"}, "date", "not after 2025-01-01"),
    ("trials", 0, {"held_kn": "0.001"}, "held_kn", "0.0068 times the anchor's weight"),
    ("trials", 0, {"released_kn": "200"}, "released_kn", "1,360 times the anchor's weight"),
    ("trials", 0, {"released_kn": ""}, "stopped_by", "Write why the pull ended"),
    ("trials", 0, {"attempts": "2"}, "attempts", "belongs to a reset"),
    ("trials", 0, {"veer_deg": "90"}, "veer_deg", "belongs to a veer"),
    ("trials", 0, {"set": "no"}, "set", "so did it dig in?"),
    ("trials", 0, {"set": "no", "released_kn": ""}, "set", "so did it dig in?"),
    (
        "trials",
        0,
        {"set": "no", "held_kn": "", "released_kn": "", "stopped_by": "time"},
        "stopped_by",
        "never dug in ended the pull itself",
    ),
    ("trials", 0, {"depth_m": "51"}, "depth_m", "seldom over 50 m"),
    ("trials", 0, {"bow_height_ft": "17"}, "bow_height_ft", "seldom over 16 ft"),
    ("trials", 0, {"drag_m": "301"}, "drag_m", "seldom over 300 m"),
    ("trials", 0, {"speed_kt": "6"}, "speed_kt", "seldom over 5.8 kt"),
    (
        "trials",
        0,
        {"chain_lb_per_ft": "10.2", "chain_length_m": "9"},
        "chain_lb_per_ft",
        "seldom over 10 lb/ft",
    ),
    ("trials", 0, {"depth_m": "5", "rode_length_m": "300"}, "rode_length_m", "a rode 60 times as long"),
    ("anchors", 1, {"design": "scoop", "form": "claw"}, "form", "An earlier row of its design has scoop"),
    ("anchors", 1, {"design": "scoop", "form": ""}, "form", "An earlier row of its design has scoop"),
    ("trials", 0, {"instrument": "cell"}, "instrument", "no instruments.csv"),
]


@pytest.mark.parametrize(("file", "place", "cells", "column", "said"), CASES)
def test_one_doubt(read, tables, file, place, cells, column, said):
    (doubt,) = read(**{file: tables.changed(getattr(tables, file), place, **cells)}).doubts
    assert (doubt.severity, doubt.file, doubt.column) == ("doubt", f"{file}.csv", column)
    assert doubt.row in {place + 2, None}
    assert said in f"{doubt.found}|{doubt.allowed}|{doubt.fix}"


@pytest.mark.parametrize("cover", ["", "none", "Weed", "SHELL", "cobble"])
def test_usual_covers_bring_no_doubt_and_are_kept_in_small_letters(read, tables, cover):
    campaign = read(seabeds=tables.changed(tables.seabeds, 0, cover=cover))
    assert campaign.doubts == ()
    assert campaign.seabeds["cover"].iloc[0] == cover.lower()


def test_what_is_just_usual_or_of_an_excluded_row_brings_no_doubt(read, tables):
    usual = {"depth_m": "50", "scope": "20", "bow_height_m": "5", "drag_m": "300", "speed_kt": "5.8"}
    odd = {"depth_m": "51", "scope": "21", "exclude": "fouled"}
    quiet = {"chain_kg_per_m": "15", "chain_length_m": "9"}
    for cells in (usual | quiet, odd | quiet):
        doubts = read(trials=tables.changed(tables.trials, **cells)).doubts
        assert [each for each in doubts if "seldom" in each.allowed] == []


def test_a_chain_of_rodes_that_is_far_too_heavy_is_a_doubt(read, tables):
    rodes = "rode,chain_kg_per_m,chain_length_m\nlight,1.4,20\nheavy,230,20\n"
    (doubt,) = [each for each in read(rodes=rodes).doubts if "seldom" in each.allowed]
    assert (doubt.file, doubt.row, doubt.allowed) == ("rodes.csv", 3, "seldom over 15 kg/m")


def test_ambiguous_thousands_say_how_they_are_read(read, tables):
    campaign = read(trials=tables.as_csv(tables.changed(tables.trials, held_kn="1,200"), ";"))
    (doubt,) = campaign.doubts
    assert doubt.fix == "It is read as 1.2; if 1200 is meant, write it without a separator."
    assert campaign.trials.loc["t1", "held_n"] == pytest.approx(1200.0)


@pytest.mark.parametrize("cell", ["no", "0", "FALSE", "-", "–", "n/a", "?", "nein", "none", "(1)"])
def test_exclude_no_asks_whether_the_row_counts(read, tables, cell):
    campaign = read(trials=tables.changed(tables.trials, exclude=cell))
    doubt = next(d for d in campaign.doubts if d.column == "exclude")
    assert "if the row should count" in doubt.fix
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


def test_pulls_with_neither_date_nor_visit_bring_one_doubt_with_their_count(read, tables):
    rows = [{**row, "date": ""} for row in tables.trials]
    (doubt,) = read(trials=rows).doubts
    assert (doubt.row, doubt.column, doubt.found) == (None, "visit", "2 pulls have neither date nor visit")
    assert "make the bands too narrow" in doubt.fix
    (doubt,) = read(trials=tables.changed(tables.trials, date="")).doubts
    assert doubt.found == "1 pull has neither date nor visit"
    # A visit will do, and a row that does not count needs none.
    assert read(trials=tables.changed(tables.trials, date="", visit="first")).doubts == ()
    gone = read(trials=tables.changed(tables.trials, date="", exclude="fouled")).doubts
    assert not any("neither date" in doubt.found for doubt in gone)


def test_a_log_of_one_anchor_a_day_is_doubted_once(read, tables):
    """As many testers work; a day and an anchor cannot be told apart then."""
    anchors = [*tables.anchors, {**tables.anchors[1], "anchor": "claw 10", "form": "claw", "mass_kg": "10"}]
    names = [row["anchor"] for row in anchors]
    lone = [
        {**tables.trials[0], "trial": f"n{day}", "anchor": names[day % 3], "date": f"2024-05-0{1 + day}"}
        for day in range(4)
    ] + [{**tables.trials[1], "date": "2024-05-09"}]

    def found(rows):
        doubts = read(anchors=anchors, trials=rows).doubts
        return [doubt.found for doubt in doubts if "one anchor each" in doubt.found]

    assert found(lone) == ["5 visits of one anchor each"]
    # One shared day is enough, and a pull that does not count shares nothing.
    shared = {**lone[1], "trial": "more", "date": lone[0]["date"], "held_kn": "1.4"}
    assert found([*lone, shared]) == []
    assert found([*lone, {**shared, "exclude": "fouled: weed"}]) == ["5 visits of one anchor each"]
    # Few days, or two anchors, say too little either way.
    assert found(lone[:3]) == []
    assert found([row for row in lone if row["anchor"] != "claw 10"]) == []


def demo_columns() -> list[tuple[str, str]]:
    """Each file of the demo campaign with each of its columns that can be misspelt."""
    files = sorted(path("demo").glob("*.csv"))
    headers = [(file.name, file.read_text(encoding="utf-8").split("\n", 1)[0]) for file in files]
    return [(name, column) for name, header in headers for column in header.split(",")]


@pytest.fixture(scope="module")
def doubts_of_the_demo():
    return read_campaign(path("demo")).doubts


@pytest.mark.parametrize(("file", "column"), demo_columns())
def test_a_misspelt_header_is_one_fault_and_nothing_that_follows_from_it(
    tmp_path, file, column, doubts_of_the_demo
):
    folder = tmp_path / "campaign"
    shutil.copytree(path("demo"), folder)
    text = (folder / file).read_text(encoding="utf-8")
    header, rows = text.split("\n", 1)
    slip = f"{column[:2]}x{column[2:]}"
    names = [slip if name == column else name for name in header.split(",")]
    (folder / file).write_text(",".join(names) + "\n" + rows, encoding="utf-8")
    try:
        findings = read_campaign(folder).doubts
    except CampaignError as error:
        findings = error.findings
    new = [finding for finding in findings if finding not in doubts_of_the_demo]
    told = [(finding.file, finding.row, finding.column) for finding in new]
    # A flag may have any name; one not far from a word of a few letters may be a column of the user's own.
    assert told in ([(file, 1, slip)], [])
    assert told or column.startswith("flag_") or len(column) < 6


@pytest.mark.parametrize("name", ["released", "released_tons", "released_peak_kn"])
def test_a_column_without_its_unit_is_not_missed_row_by_row(read, tables, name):
    rows = [
        {name if key == "released_kn" else key: cell for key, cell in row.items()} for row in tables.trials
    ]
    try:
        findings = read(trials=rows).doubts
    except CampaignError as error:
        findings = error.findings
    assert [(finding.row, finding.column) for finding in findings] == [(1, name)]


def test_a_measure_near_its_class_or_without_one_brings_no_doubt(read, tables):
    for cells in ({"undrained_strength_kpa": "70"}, {"strength": "", "undrained_strength_kpa": "600"}):
        assert read(seabeds=tables.changed(tables.seabeds, 0, **cells)).doubts == ()
    assert read(seabeds=tables.changed(tables.seabeds, 1, friction_angle_deg="39")).doubts == ()


@pytest.mark.parametrize(
    ("mass", "size", "odd"),
    [("2.3", "8", True), ("1.4", "8", False), ("1.2", "8", False), ("0.9", "8", True), ("0", "8", False)],
)
def test_chain_whose_mass_contradicts_its_size(read, mass, size, odd):
    doubts = read(rodes=f"rode,chain_kg_per_m,chain_length_m,chain_mm\nlight,{mass},20,{size}\n").doubts
    assert [doubt.column for doubt in doubts] == ["chain_kg_per_m"] * odd
    if odd:
        assert "Chain of 8 mm mostly has 1.4 kg/m" in doubts[0].fix

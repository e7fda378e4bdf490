"""Slips of the hand that a whole column has: one finding each, which names the slip and its rows."""

import json
from collections.abc import Mapping
from contextlib import suppress

import pytest

from holdcast.campaign import CampaignError, read_campaign
from holdcast.campaign.columns.known_columns import FILES
from holdcast.campaign.columns.typing_slips import iso_date
from holdcast.campaign.doubts.speed import speed_doubts
from holdcast.capacity.inputs.layout import lay_out
from holdcast.cli import main
from holdcast.commands.shared.checked_campaign import read_checked
from holdcast.package_data import path

ROWS = 52


def log(**columns: object) -> list[dict[str, str]]:
    """A log of many pulls of two anchors; a column may be a text or a function of the row's place."""
    rows = []
    for at in range(ROWS):
        row = {
            "trial": f"p{at}",
            "anchor": ("scoop 15", "plough 20")[at % 2],
            "seabed": ("mud", "beach")[at // 2 % 2],
            "test": "pull",
            "date": f"2024-05-{1 + at // 4:02d}",
            "held_n": str(1500 + 10 * at),
            "released_n": str(1800 + 10 * at),
        }
        for name, cell in columns.items():
            row[name] = str(cell(at)) if callable(cell) else str(cell)
        rows.append(row)
    return rows


def renamed(rows: list[dict[str, str]], **names: str) -> list[dict[str, str]]:
    """Rows with some columns under other names."""
    return [{names.get(name, name): cell for name, cell in row.items()} for row in rows]


def only(findings) -> object:
    (finding,) = findings
    return finding


def test_the_log_as_it_should_be_brings_nothing(findings):
    assert findings(trials=log()) == ()


def test_held_and_released_swapped(findings):
    swapped = renamed(log(), held_n="released_n", released_n="held_n")
    finding = only(findings(trials=swapped))
    assert (finding.severity, finding.column, finding.row) == ("fault", "released_n", None)
    assert finding.found == f"held above released in {ROWS} of {ROWS} rows that have both, rows 2-{ROWS + 1}"
    assert "Are the two columns swapped?" in finding.fix
    # Rows that lie apart: a few say where, and their number how many.
    apart = log(released_n=lambda at: 900 if at % 3 else 2400)
    assert only(findings(trials=apart)).found.endswith(
        ", rows 3-4, 6-7, 9-10, 12-13, 15-16, 18-19 and 22 more"
    )
    # A row or two are slips of their own.
    few = log(released_n=lambda at: 900 if at < 2 else 2400)
    assert [(f.row, "columns swapped" in f.fix) for f in findings(trials=few)] == [(2, False), (3, False)]
    assert all("swap the two" in f.fix for f in findings(trials=few))


def test_swapped_columns_bring_no_second_finding_from_other_columns(findings):
    """Neither of why a pull ended nor of whether it set: both lean on the columns that are wrong."""
    rows = log(
        released_n=lambda at: "" if at % 7 == 0 else 1800 + 10 * at,
        stopped_by=lambda at: "time" if at % 7 == 0 else "",
        set=lambda at: "no" if at == 9 else "",
    )
    rows[9]["held_n"] = ""
    assert findings(trials=rows) == ()
    finding = only(findings(trials=renamed(rows, held_n="released_n", released_n="held_n")))
    assert "Are the two columns swapped?" in finding.fix


def test_one_of_the_two_columns_under_another_unit(findings):
    finding = only(findings(trials=renamed(log(), held_n="held_kgf")))
    assert (finding.severity, finding.column, finding.row) == ("fault", "released_n", None)
    assert finding.fix == "The loads held are mostly 8.4 times the others: is the suffix of one column wrong?"


def test_ten_loads_beyond_belief_are_one_doubt(findings):
    """As of newtons read under pounds: only the strongest pulls stand out."""
    rows = log(held_n=lambda at: 40_000 + at if at < 10 else 1500, released_n=lambda at: 30_000 + at)
    rows = [{**row, "released_n": "" if at < 10 else "1800", "stopped_by": "time" if at < 10 else ""}
            for at, row in enumerate(rows)]  # fmt: skip
    finding = only(findings(trials=rows))
    assert (finding.severity, finding.row) == ("doubt", None)
    assert "rows 2-11" in finding.found
    usual = {**rows[0], "held_n": "1500", "released_n": "1800", "stopped_by": ""}
    assert len(findings(trials=[usual, *rows[1:]])) == 9


def test_loads_are_not_held_against_a_mass_that_is_in_doubt(findings):
    anchors = [
        {"anchor": "scoop 15", "mass_kg": "0.15", "tip_fraction": "0.4", "fluke_area_cm2": "1000"},
        {"anchor": "plough 20", "mass_kg": "20", "tip_load_kg": "7", "fluke_area_cm2": "1100"},
    ]
    doubts = findings(anchors=[{**anchors[0], "mass_kg": "1.5"}, anchors[1]], trials=log())
    assert "ten times too small?" in only(doubts).fix


def test_masses_under_pounds_are_one_finding(findings):
    """Tip loads of 0.36 to 0.5 of the mass become 0.8 to 1.1 of it: a fault for some, a doubt for others."""
    masses = {"a": (5, 1.8), "b": (10, 4.9), "c": (15, 5.6), "d": (25, 12.0)}
    anchors = [
        {"anchor": name, "mass_lb": str(mass), "tip_load_kg": str(tip)}
        for name, (mass, tip) in masses.items()
    ]
    rows = log(anchor=lambda at: "abcd"[at % 4], held_n=lambda at: 500 + at, released_n=lambda at: 600 + at)
    finding = only(findings(anchors=anchors, trials=rows))
    assert (finding.severity, finding.row) == ("fault", None)
    assert finding.found == "tip loads 0.79 to 1.1 times the anchors' masses, rows 2-5"
    lighter = [{**each, "tip_load_kg": f"{0.9 * float(each['tip_load_kg']):.2f}"} for each in anchors]
    doubt = only(findings(anchors=lighter, trials=rows))
    assert (doubt.severity, doubt.fix) == ("doubt", "Is the suffix of one of the two columns wrong?")


def test_a_log_all_left_out_says_so_once(findings):
    finding = only(findings(trials=log(exclude="no")))
    assert (finding.column, finding.found) == ("exclude", f"'no' in {ROWS} rows, rows 2-{ROWS + 1}")


def test_loads_under_the_suffix_of_another_unit(findings):
    finding = only(findings(trials=renamed(log(), held_n="held_kn", released_n="released_kn")))
    assert (finding.severity, finding.column) == ("doubt", "held_kn")
    assert finding.found == f"loads 8,700 to 14,000 times the anchors' weight, rows 2-{ROWS + 1}"
    assert "Is the suffix wrong, of the loads or of the masses?" in finding.fix
    assert "As held_n or held_lbf the loads would be usual." in finding.fix


def test_kilonewtons_under_newtons_are_one_doubt_in_all_that_check_says(write):
    small = log(held_n=lambda at: 1.5 + at / 100, released_n=lambda at: 1.8 + at / 100)
    doubt = only(read_checked(write(trials=small)).doubts)
    assert "As held_kn the loads would be usual." in doubt.fix


def test_areas_and_tip_loads_under_the_suffix_of_another_unit(findings, tables):
    masses = {"a": 5, "b": 10, "c": 15, "d": 25}
    anchors = [
        {"anchor": name, "mass_kg": str(mass), "fluke_area_m2": f"{100 * mass ** (2 / 3):.0f}"}
        for name, mass in masses.items()
    ]
    rows = log(anchor=lambda at: "abcd"[at % 4])
    areas = [f for f in findings(anchors=anchors, trials=rows) if f.column == "fluke_area_m2"]
    assert "fluke_area_cm2" in only(areas).fix
    tips = [
        {"anchor": name, "mass_kg": str(mass), "tip_load_kg": f"{0.4 * 9.8 * mass:.1f}"}
        for name, mass in masses.items()
    ]
    finding = only(findings(anchors=tips, trials=rows))
    assert (finding.severity, finding.column) == ("fault", "tip_load_kg")
    assert "Is the suffix of one of the two columns wrong?" in finding.fix


def test_depths_in_centimetres_under_metres(findings):
    finding = only(findings(trials=log(depth_m=lambda at: 300 + 10 * at)))
    assert (finding.severity, finding.column) == ("doubt", "depth_m")
    assert finding.fix.startswith("Is the suffix wrong?")
    assert "rows 2-53" in finding.found


@pytest.mark.parametrize(
    ("cell", "kind", "fix"),
    [
        (lambda at: f"{350 + at}-{400 + at}", "ranges", "the lower number in held"),
        (lambda at: f">{1100 + at}", "at least", "leave released blank"),
        (lambda at: f"{1100 + at}+", "at least", "leave released blank"),
        (lambda at: f"<{1100 + at}", "at most", "write the number in released"),
        (lambda at: f"~{650 + at}", "say about", "Write the number alone"),
        (lambda at: f"ca. {650 + at}", "say about", "Write the number alone"),
    ],
)
def test_cells_that_say_more_than_a_number(findings, cell, kind, fix):
    finding = only(findings(trials=log(held_n=cell)))
    assert (finding.severity, finding.column, finding.row) == ("fault", "held_n", None)
    assert kind in finding.found
    assert f"rows 2-{ROWS + 1}" in finding.found
    assert fix in finding.fix
    single = only(findings(trials=log(held_n=lambda at: cell(at) if at == 3 else 1500)))
    assert (single.row, fix in single.fix) == (5, True)


def test_dates_of_the_country(findings):
    finding = only(findings(trials=log(date=lambda at: f"{1 + at // 3}/06/2024")))
    assert (finding.column, finding.row) == ("date", None)
    assert finding.found == f"{ROWS} dates such as '1/06/2024', rows 2-{ROWS + 1}"
    assert finding.fix == "Write year-month-day: 1/06/2024 is 2024-06-01, day first."
    american = only(findings(trials=log(date=lambda at: f"06/{1 + at // 3:02d}/2024")))
    assert "06/01/2024 is 2024-06-01, month first" in american.fix
    unclear = only(findings(trials=log(date=lambda at: f"05/{6 + at // 20:02d}/2024")))
    assert "2024-06-05 or 2024-05-06" in unclear.fix
    one = only(findings(trials=log(date=lambda at: "14.06.24" if at == 0 else "2024-06-14")))
    assert (one.row, one.fix) == (2, "Write year-month-day: 2024-06-14.")
    assert iso_date("30.02.2024") == iso_date("2024-06-14") == iso_date("June") == ""


@pytest.mark.parametrize(
    ("soil", "fix"),
    [("mud", "clay or silt"), ("Pebbles", "gravel"), ("boulders", "cobble"), ("weed", "in cover")],
)
def test_grounds_in_sailors_words(findings, tables, soil, fix):
    finding = only(findings(seabeds=tables.changed(tables.seabeds, 0, soil=soil, strength="")))
    assert (finding.row, finding.column) == (2, "soil")
    assert fix in finding.fix


@pytest.mark.parametrize("word", ["Total", "mean", "Sum:"])
def test_a_row_of_sums(findings, word):
    foot = {"trial": word, "anchor": "", "seabed": "", "test": "", "held_n": "91,000", "released_n": "x"}
    finding = only(findings(trials=[*log(), foot]))
    assert (finding.severity, finding.row) == ("fault", ROWS + 2)
    assert "Delete the row" in finding.fix


def test_an_anchor_named_like_a_sum_is_none(findings, tables):
    anchors = [{**tables.anchors[0], "anchor": "scoop total"}, tables.anchors[1]]
    assert findings(anchors=anchors, trials=log(anchor=lambda at: ("scoop total", "plough 20")[at % 2])) == ()


def test_ok_as_a_reason_to_exclude(findings):
    doubts = findings(trials=log(exclude=lambda at: "OK" if at < 40 else ""))
    finding = only([doubt for doubt in doubts if doubt.column == "exclude"])
    assert finding.found == "'OK' in 40 rows, rows 2-41"
    assert "Clear the cell, and it counts" in finding.fix


def test_a_mass_ten_times_too_large(write, findings):
    anchors = [
        {"anchor": "scoop 15", "mass_kg": "150", "tip_load_kg": "6", "fluke_area_cm2": "1000"},
        {"anchor": "plough 20", "mass_kg": "20", "tip_load_kg": "7", "fluke_area_cm2": "1100"},
    ]
    rows = log(held_n=lambda at: 700 + at, released_n=lambda at: 900 + at)
    doubt = only(read_checked(write(anchors=anchors, trials=rows)).doubts)
    assert (doubt.row, doubt.column, doubt.found) == (2, "mass_kg", "'150'")
    assert doubt.fix == "Is it ten times too large? Tip load, area and loads would fit 15 kg."
    small = [{**anchors[0], "mass_kg": "1.5"}, anchors[1]]
    doubts = [each for each in findings(anchors=small, trials=rows) if each.severity == "doubt"]
    assert "ten times too small?" in only(doubts).fix
    right = [{**anchors[0], "mass_kg": "15"}, anchors[1]]
    assert findings(anchors=right, trials=rows) == ()


def test_limits_in_the_users_unit_are_round(findings, tables):
    anchors = [{"anchor": "scoop 15", "mass_lb": "0"}, {"anchor": "plough 20", "mass_lb": "44"}]
    assert only(findings(anchors=anchors)).allowed == "a number 0.022 or more, not over 2,200,000"
    anchors = tables.changed(tables.anchors, 0, mass_kg="0")
    assert only(findings(anchors=anchors)).allowed == "a number 0.01 or more, not over 1,000,000"


def test_a_workbook_is_told_of_its_sheets(tmp_path):
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for title, rows in {
        "anchors": [("anchor", "mass_kg"), ("scoop", 15)],
        "seabeds": [("seabed", "soil"), ("bay", "clay")],
        "trials": [("trial", "anchor", "seabed", "test", "held_n", "released_n"),
                   (1, "claw", "bay", "pull", 900, 1000)],
    }.items():  # fmt: skip
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(tmp_path / "log.xlsx")
    with pytest.raises(CampaignError) as error:
        read_campaign(tmp_path / "log.xlsx")
    fault = next(finding for finding in error.value.findings if finding.severity == "fault")
    assert (fault.file, fault.row) == ("sheet trials", 2)
    assert fault.allowed == "a name in sheet anchors (scoop)"
    assert fault.fix == "Add a row for it to sheet anchors, or correct the name."


def said_by(capsys, *words: str) -> str:
    """What a command prints."""
    with suppress(SystemExit):
        main(list(words))
    return capsys.readouterr().out


UNREAD = [(spec, column) for spec in FILES for column in spec.columns if not column.read]
CELLS: Mapping[str, str] = {"word": "sand", "text": "weed", "date": "2024-01-01", "number": "7"}


@pytest.mark.parametrize(("spec", "column"), UNREAD, ids=lambda part: getattr(part, "name", None))
def test_columns_that_no_answer_uses_are_named_and_change_nothing(write, tables, capsys, spec, column):
    header = next(iter(column.written_names))
    instruments = ({"instrument": "cell"},)
    files = {name: getattr(tables, name) for name in ("anchors", "seabeds", "trials")}
    files |= {"instruments": instruments}
    name = spec.file.removesuffix(".csv")
    before = lay_out(read_campaign(write(**files)))
    files[name] = [{**row, header: CELLS[column.kind]} for row in files[name]]
    folder = write(**files)
    assert lay_out(read_campaign(folder)).equals(before)
    screen = " ".join(said_by(capsys, "check", str(folder)).split())
    assert f"Columns kept, not used in any answer yet: {spec.file}: {column.stored_name}." in screen
    assert json.loads(said_by(capsys, "check", "--json", str(folder)))["not_used"] == {
        spec.file: [column.stored_name]
    }


def test_the_demo_has_no_slips():
    assert not [
        each for each in read_checked(path("demo")).doubts if "suffix" in each.fix or "ten times" in each.fix
    ]


@pytest.mark.parametrize(
    ("ground", "speed", "doubted"),
    [("dense", "0.2", True), ("very_dense", "0.11", True), ("dense", "0.1", False), ("loose", "1", False)],
)
def test_fast_pulls_in_dense_sand(read, tables, ground, speed, doubted):
    seabeds = tables.changed(tables.seabeds, 1, strength=ground)
    campaign = read(seabeds=seabeds, trials=tables.changed(tables.trials, 1, speed_mps=speed))
    doubts = speed_doubts(campaign)
    assert bool(doubts) == doubted
    if doubted:
        assert only(doubts).found == f"1 pull in dense sand at up to {speed} m/s (t2)"
    # Mud has its own law of speed.
    assert speed_doubts(read(trials=tables.changed(tables.trials, 0, speed_mps="1"))) == ()

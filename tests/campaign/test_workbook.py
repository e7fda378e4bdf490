"""A workbook reads as the folder of CSV files that its sheets stand for."""

import csv
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pandas as pd
import pytest
from openpyxl import Workbook

from holdcast.campaign import CampaignError, read_campaign
from holdcast.commands.evaluate import outcomes_file
from holdcast.commands.shared.checked_campaign import campaign_beside, results_folder
from holdcast.package_data import path

Rows = Sequence[Sequence[Any]]
ANCHORS: Rows = (("anchor", "mass_kg", "flag_roll_bar"), ("scoop 15", 15, True), ("plough 20", 20.5, False))
SEABEDS: Rows = (("seabed", "soil", "strength"), ("mud", "clay", "low"), ("beach", "sand", "medium_dense"))
TRIALS: Rows = (
    ("trial", "anchor", "seabed", "test", "date", "held_kn", "released_kn"),
    (1, "scoop 15", "mud", "pull", datetime(2024, 5, 1), 1.5, 2),
    (2, "plough 20", "beach", "pull", date(2024, 5, 2), 1, 1.2),
)
SHEETS: Mapping[str, Rows] = {"anchors": ANCHORS, "seabeds": SEABEDS, "trials": TRIALS}


def cell(text: str) -> Any:
    """A CSV cell as a spreadsheet takes it when it is typed in."""
    for kind in (float, datetime.fromisoformat):
        try:
            return kind(text)
        except ValueError:
            continue
    return text or None


@pytest.fixture
def workbook(tmp_path: Path) -> Callable[..., Path]:
    """Write a workbook; each keyword is a sheet, in place of that of the small campaign or beside it."""

    def write(name: str = "log.xlsx", **sheets: Rows) -> Path:
        book = Workbook()
        book.remove(book.active)
        for title, rows in (SHEETS | sheets).items():
            sheet = book.create_sheet(title)
            for row in rows:
                sheet.append(list(row))
        book.save(tmp_path / name)
        return tmp_path / name

    return write


def read(file: Path) -> Any:
    return read_campaign(file, today=date(2025, 1, 1))


def faults(file: Path) -> list[Any]:
    with pytest.raises(CampaignError) as error:
        read(file)
    return [finding for finding in error.value.findings if finding.severity == "fault"]


def test_the_demo_in_a_workbook_is_the_demo(workbook: Callable[..., Path]) -> None:
    demo = path("demo")
    sheets = {
        file.stem: [
            [cell(text) for text in row] for row in csv.reader(file.read_text(encoding="utf-8").splitlines())
        ]
        for file in Path(str(demo)).glob("*.csv")
    }
    settings = [("key", "value"), ("title", "mine"), ("units", "us"), ("boat.bow_height_m", 1.2)]
    made, folder = read(workbook(campaign=settings, **sheets)), read(Path(str(demo)))
    for table in ("anchors", "seabeds", "trials", "rodes", "instruments"):
        pd.testing.assert_frame_equal(getattr(made, table), getattr(folder, table))
    assert (made.title, made.units, made.boat) == ("mine", "us", {"bow_height_m": 1.2})
    assert [replace(doubt, file="") for doubt in made.doubts] == [
        replace(doubt, file="") for doubt in folder.doubts
    ]


def test_cells_are_what_a_tester_would_have_typed(workbook: Callable[..., Path]) -> None:
    campaign = read(workbook())
    assert campaign.anchors["flag_roll_bar"].tolist() == [True, False]
    assert campaign.trials.index.tolist() == ["1", "2"]
    assert campaign.trials["held_n"].tolist() == [1500.0, 1000.0]
    assert campaign.trials["date"].dt.strftime("%Y-%m-%d").tolist() == ["2024-05-01", "2024-05-02"]
    assert campaign.doubts == ()


def test_settings_of_tables_with_names_that_have_spaces_and_points(workbook: Callable[..., Path]) -> None:
    seabeds = [*SEABEDS, ("no. 3 bay", "silt", "low")]
    rows = [("priors.feature_typical.sd", 0.2), ("weights.no. 3 bay", 2), (None, None), ("weights.mud", 1)]
    campaign = read(workbook(seabeds=seabeds, campaign=rows))
    assert campaign.priors == {"feature_typical": {"sd": 0.2}}
    assert campaign.weights == {"no. 3 bay": 2.0, "mud": 1.0}


def test_a_fault_names_sheet_row_and_column(workbook: Callable[..., Path]) -> None:
    rows = [(), TRIALS[0], TRIALS[1], (), (*TRIALS[2][:5], "much", 1.2)]
    (fault,) = faults(workbook(trials=rows))
    assert (fault.file, fault.row, fault.column, fault.found) == ("sheet trials", 5, "held_kn", "'much'")


def test_names_of_sheets_ignore_case_and_near_misses_are_named(tmp_path: Path) -> None:
    only = Workbook()
    only.remove(only.active)
    titles = {"Anchors": ANCHORS, "SEABEDS": SEABEDS, "trails": TRIALS, "my notes": [("anything",)]}
    for title, rows in titles.items():
        sheet = only.create_sheet(title)
        for row in rows:
            sheet.append(list(row))
    file = tmp_path / "other.xlsx"
    only.save(file)
    (fault,) = faults(file)
    assert (fault.file, fault.fix) == ("trails", "Rename the sheet to trials.")
    only["trails"].title = "Trials"
    only.save(file)
    assert read(file).trials.shape[0] == 2
    del only["Trials"]
    only.save(file)
    (fault,) = faults(file)
    assert (fault.file, fault.found) == ("sheet trials", "no such sheet")


def test_a_formula_that_was_never_worked_out_is_a_fault_and_not_a_blank(
    workbook: Callable[..., Path],
) -> None:
    anchors = [ANCHORS[0], ("scoop 15", "=10+5", True), ANCHORS[2]]
    found = faults(workbook(anchors=anchors))
    assert ("sheet anchors", 2, "B", "a formula without a value") in [
        (fault.file, fault.row, fault.column, fault.found) for fault in found
    ]


@pytest.mark.parametrize(
    ("row", "number"), [((None, "x"), 1), (("title", "a", "b"), 1)], ids=["no key", "three cells"]
)
def test_a_row_of_settings_is_a_key_and_a_value(
    workbook: Callable[..., Path], row: Sequence[object], number: int
) -> None:
    (fault,) = faults(workbook(campaign=[row]))
    assert (fault.file, fault.row, fault.found) == (
        "sheet campaign",
        number,
        "a row that is no key and value",
    )


@pytest.mark.parametrize("content", [b"", b"not a workbook", b"PK\x03\x04broken"])
def test_what_is_no_workbook_is_one_fault(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "log.xlsx"
    file.write_bytes(content)
    (fault,) = faults(file)
    assert fault.found.startswith("cannot be read as a workbook")
    assert file.read_bytes() == content


def test_a_workbook_whose_bytes_were_spoilt_is_one_fault(workbook: Callable[..., Path]) -> None:
    """The packed data of a sheet are no longer packed data: zlib says so, in an error of its own."""
    file = workbook()
    with ZipFile(file) as archive:
        sheet = archive.getinfo("xl/worksheets/sheet1.xml")
    content = bytearray(file.read_bytes())
    start = sheet.header_offset + 30 + len(sheet.filename)
    content[start : start + 20] = b"\xff" * 20
    file.write_bytes(content)
    with pytest.raises(zlib.error), ZipFile(file) as archive:
        archive.read(sheet)
    (fault,) = faults(file)
    assert fault.found.startswith("cannot be read as a workbook")


@pytest.mark.parametrize("name", ["log.xls", "log.ods", "log.xlsm"])
def test_other_workbooks_are_to_be_saved_as_one_that_is_read(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"anything")
    (fault,) = faults(tmp_path / name)
    assert fault.fix.startswith("Save it as .xlsx")


def test_the_campaign_of_results_is_the_workbook_beside_them(tmp_path: Path) -> None:
    file = tmp_path / "log.xlsx"
    assert campaign_beside(results_folder(file)) == tmp_path
    file.touch()
    assert campaign_beside(results_folder(file)) == file
    assert campaign_beside(results_folder(tmp_path / "log")) == tmp_path / "log"


def test_results_and_outcomes_lie_beside_a_workbook() -> None:
    assert results_folder(Path("a/results 2024.xlsx")) == Path("a/results 2024-results")
    assert outcomes_file(Path("a/results 2024.xlsx")) == Path("a/results 2024-evaluation/refits.jsonl")

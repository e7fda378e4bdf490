"""Files and texts too large for a campaign are refused, the limit named, before they hurt."""

import time
from zipfile import ZIP_DEFLATED, ZipFile

import pytest

from holdcast.campaign import CampaignError, read_campaign
from holdcast.campaign.requests import KnownNames, read_requests


def faults_of(path):
    with pytest.raises(CampaignError, match="fault") as caught:
        read_campaign(path)
    return [f for f in caught.value.findings if f.severity == "fault"]


@pytest.mark.parametrize(
    ("text", "column", "said"),
    [
        (f"seed = {'9' * 5000}", "", "a whole number of thousands of digits|up to 19 digits"),
        (f"[weights]\nmud = {'9' * 5000}", "", "a whole number of thousands of digits|up to 19 digits"),
        (f"[weights]\nmud = {'9' * 400}", "weights.mud", "a whole number of over 19 digits|up to 19 digits"),
        (
            f"[boat]\nbow_height_m = 0x{'F' * 4500}",
            "boat.bow_height_m",
            "a whole number of over 19 digits|up to 19",
        ),
        (f"priors.x.y = [1, [0b{'1' * 20_000}]]", "priors.x.y", "a whole number of over 19 digits|up to 19"),
        (f"[weights]\nmud = {'9' * 19}.{'9' * 5000}e400", "weights.mud", "0 or more"),
        (f'title = "{"a" * 200_000}"', "title", "200,000 characters|up to 200 characters"),
        (f"title = {'[' * 5000}{']' * 5000}", "", "tables or lists within each other|up to 10 levels"),
        (f"title{'.a' * 20_000} = 1", "title", "tables or lists within each other|up to 10 levels"),
        (f"# {'a' * 1_100_000}", "", "a file of 1 MB|up to 1 MB"),
    ],
)
def test_settings(findings, text, column, said):
    faults = [each for each in findings(settings=text) if each.severity == "fault"]
    assert [(fault.file, fault.column) for fault in faults] == [("campaign.toml", column)]
    assert said in f"{faults[0].found}|{faults[0].allowed}|{faults[0].fix}"


def test_a_title_of_200_characters_is_read(read):
    assert read(settings=f'title = "{"a" * 200}"').title == "a" * 200


@pytest.mark.parametrize(
    ("file", "cells", "said"),
    [
        ("anchors", {"anchor": "a" * 201}, "201 characters|up to 200 characters"),
        ("trials", {"note": "a" * 10_001}, "10,001 characters|up to 10,000 characters"),
        ("trials", {"weather": "a" * 10_001}, "10,001 characters|up to 10,000 characters"),
        ("trials", {"a" * 201: "b"}, "a column's name of 201 characters|up to 200 characters"),
    ],
)
def test_texts(findings, tables, file, cells, said):
    rows = tables.changed(getattr(tables, file), 0, **cells)
    (fault,) = [f for f in findings(**{file: rows}) if f.file == f"{file}.csv" and f.severity == "fault"]
    assert said in f"{fault.found}|{fault.allowed}"


def test_longest_texts_are_read(read, tables):
    rows = tables.changed(tables.trials, 0, note="a" * 10_000, **{"b" * 200: "c"})
    assert read(trials=rows).trials["note"].iloc[0] == "a" * 10_000


def test_a_file_that_is_too_large_is_not_read(write):
    folder = write()
    with (folder / "trials.csv").open("r+b") as stream:
        stream.truncate(60_000_000)  # a hole: no disk is filled
    before = time.perf_counter()
    (fault,) = faults_of(folder)
    assert time.perf_counter() - before < 2.0
    assert (fault.file, fault.found, fault.allowed) == ("trials.csv", "a file of 60 MB", "up to 50 MB")


def test_too_many_rows_and_columns(findings, tables):
    trials = "trial,anchor,seabed,test\n" + "".join(f"{n},x,y,pull\n" for n in range(200_001))
    (fault,) = [f for f in findings(trials=trials) if f.severity == "fault"]
    assert (fault.found, fault.allowed) == ("200,001 rows", "up to 200,000 rows")
    wide = tables.changed(tables.trials, 0, **{f"own {n}": "1" for n in range(500)})
    (fault,) = [f for f in findings(trials=wide) if f.severity == "fault"]
    assert fault.allowed == "up to 500 columns"


def test_a_workbook_that_unpacks_to_more_than_the_limit(tmp_path):
    path = tmp_path / "log.xlsx"
    with ZipFile(path, "w", ZIP_DEFLATED, compresslevel=1) as archive, archive.open("a", "w") as member:
        for _ in range(51):
            member.write(bytes(10_000_000))
    (fault,) = faults_of(path)
    assert (fault.found, fault.allowed) == ("a workbook of 510 MB when unpacked", "up to 500 MB")


def test_a_stray_cell_far_out_in_a_sheet(tmp_path):
    from openpyxl import Workbook

    path, book = tmp_path / "log.xlsx", Workbook()
    book.remove(book.active)
    for name in ("anchors", "seabeds", "trials"):
        book.create_sheet(name).cell(1, 1, name[:-1])
    book["trials"].cell(1_000_000, 16_000, "stray")
    book.save(path)
    faults = faults_of(path)
    assert [(f.file, f.allowed) for f in faults if "16,000" in f.found] == [
        ("sheet trials", "up to 10,000,000 cells in a sheet")
    ]


def test_a_file_of_requests_has_the_limit_of_a_table(read, tmp_path):
    campaign, path = read(), tmp_path / "requests.csv"
    known = KnownNames(campaign.anchors, campaign.seabeds, [])
    with path.open("wb") as stream:
        stream.truncate(60_000_000)
    with pytest.raises(CampaignError) as caught:
        read_requests(path, known)
    (fault,) = caught.value.findings
    assert (fault.file, fault.found, fault.allowed) == ("requests.csv", "a file of 60 MB", "up to 50 MB")


def test_a_feature_without_a_name_in_requests_is_a_fault(read, tmp_path):
    campaign, path = read(), tmp_path / "requests.csv"
    path.write_text("request,anchor,seabed,flag_\none,plough 20,mud,x\n", encoding="utf-8")
    with pytest.raises(CampaignError) as caught:
        read_requests(path, KnownNames(campaign.anchors, campaign.seabeds, []))
    (fault,) = caught.value.findings
    assert (fault.column, fault.allowed) == ("flag_", "flag_NAME")

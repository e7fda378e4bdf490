"""Campaigns, workbooks and settings changed at random: read and accounted for, or refused with a fault."""

import csv
import datetime
import io
import random
import shutil
from collections.abc import Callable
from pathlib import Path

from openpyxl import Workbook

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.records import Campaign, CampaignError
from holdcast.campaign.settings import read_settings
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.results.rehearsal import rehearse
from holdcast.commands.shared.checked_campaign import accounting_line, read_checked
from mutated.nasty import CELLS, NAMES, mutated_bytes, nasty_text

__all__ = ["BASE", "campaign", "read_or_refused", "settings", "workbook", "write_campaign"]

Rows = list[list[str]]
_HEADS = {
    "anchors.csv": "anchor,design,form,mass_kg,tip_load_kg,fluke_area_m2,flag_upturned,price",
    "seabeds.csv": "seabed,soil,strength,site",
    "rodes.csv": "rode,chain_kg_per_m,chain_length_m,grade",
    "trials.csv": "trial,anchor,seabed,test,date,visit,held_n,released_n,stopped_by,rode,scope,depth_m,set,"
    "attempts,successes,veer_deg,veer_held_deg,exclude,note",
}
_TRIALS = """\
1,A,mud,pull,2024-05-01,,900,1100,,light,5,4,,,,,,,
2,A,mud,pull,2024-05-01,,1000,,boat_limit,light,5,4,,,,,,,
3,B,mud,pull,2024-05-01,,,400,,,,,no,,,,,,slid
4,B,sand,pull,2024-05-02,,2100,2400,,,,,yes,,,,,,
5,C,sand,pull,2024-05-02,,1500,1500,,,,,,,,,,fouled,
6,C,sand,pull,2024-05-02,,1600,1900,,,,,,,,,,,
7,A,sand,reset,2024-05-02,,,,,,,,,3,2,,,,
8,B,sand,veer,2024-05-02,,1200,,,,,,,,,90,60,,"""
BASE: dict[str, Rows] = {
    name: [line.split(",") for line in (_HEADS[name] + "\n" + body).split("\n")]
    for name, body in {
        "anchors.csv": "A,A,scoop,10,4,0.09,no,120\nB,B,plough,15,,,yes,\nC,C,twin_fluke,8,1,0.1,no,12",
        "seabeds.csv": "mud,silt,low,creek\nsand,sand,dense,",
        "rodes.csv": "light,1.4,30,30",
        "trials.csv": _TRIALS,
    }.items()
}
"""A small campaign that reads without a fault."""
SETTINGS = 'title = "Spring"\nunits = "si"\n[boat]\nbow_height_m = 1.2\n[weights]\nmud = 1\nsand = 2\n'


def _change_cell(rows: Rows, chance: random.Random) -> None:
    row = chance.choice(rows)
    if row:
        row[chance.randrange(len(row))] = nasty_text(chance)


def _swap_cells(rows: Rows, chance: random.Random) -> None:
    one, other = chance.choice(rows), chance.choice(rows)
    if one and other:
        at, to = chance.randrange(len(one)), chance.randrange(len(other))
        one[at], other[to] = other[to], one[at]


def _add_column(rows: Rows, chance: random.Random) -> None:
    rows[0].append(chance.choice(NAMES))
    for row in rows[1:]:
        row.append(chance.choice(CELLS))


def _rename_column(rows: Rows, chance: random.Random) -> None:
    if rows[0]:
        rows[0][chance.randrange(len(rows[0]))] = chance.choice((*NAMES, nasty_text(chance)))


def _drop_column(rows: Rows, chance: random.Random) -> None:
    if at := chance.randrange(len(rows[0]) or 1):
        for row in rows:
            del row[at : at + 1]


def _rename_label(rows: Rows, chance: random.Random) -> None:
    """Give an anchor or a seabed another name, in every row."""
    old, new = chance.choice(("A", "B", "C", "mud", "sand")), chance.choice((*NAMES, nasty_text(chance)))
    for row in rows:
        row[:] = [new if cell == old else cell for cell in row]


def _shuffle_rows(rows: Rows, chance: random.Random) -> None:
    place = chance.randrange(len(rows))
    chance.choice((rows.insert, lambda at, row: rows.__delitem__(at)))(place, list(chance.choice(rows)))
    if not rows:
        rows.append([""])


_CHANGES: tuple[Callable[[Rows, random.Random], None], ...] = (
    *(_change_cell, _change_cell, _change_cell, _swap_cells, _add_column),
    *(_rename_column, _drop_column, _shuffle_rows),
)


def mutated_tables(chance: random.Random) -> dict[str, Rows]:
    """Return the base campaign's tables with up to four changes, most often one."""
    tables = {name: [list(row) for row in rows] for name, rows in BASE.items()}
    for _ in range(chance.choice((0, 1, 1, 1, 2, 4))):
        if chance.random() < 0.15:
            state = chance.getstate()
            for rows in tables.values():  # the same name in every file
                chance.setstate(state)
                _rename_label(rows, chance)
        else:
            chance.choice(_CHANGES)(tables[chance.choice(list(tables))], chance)
    return tables


def _csv(rows: Rows, separator: str = ",") -> bytes:
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator="\n").writerows(rows)
    return text.getvalue().encode("utf-8", "surrogatepass")


def write_campaign(folder: Path, files: dict[str, bytes]) -> None:
    """Write files into an emptied folder."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)


def mutated_campaign(folder: Path, seed: int) -> Path:
    """Write a changed campaign folder and return it."""
    chance = random.Random(seed)
    separator = chance.choice(",,,,;")
    files = {name: _csv(rows, separator) for name, rows in mutated_tables(chance).items()}
    files["campaign.toml"] = SETTINGS.encode()
    if chance.random() < 0.25:
        name = chance.choice(list(files))
        encoded = (
            files[name].decode("utf-8", "replace").encode(chance.choice(("utf-16", "utf-8-sig", "utf-7")))
        )
        files[name] = chance.choice((mutated_bytes(files[name], chance), encoded, b""))
    if chance.random() < 0.03:
        del files[chance.choice(list(files))]
    write_campaign(folder, files)
    return folder


def read_or_refused(path: Path, seed: int) -> str:
    """Return how a campaign was taken, "read" or "refused".

    Raises
    ------
    AssertionError
        When a row is lost, or a refusal names no fault.
    """
    try:
        campaign = read_checked(path)
    except CampaignError as error:
        assert any(finding.severity == "fault" for finding in error.findings), "refused without a fault"
        assert str(error), "a refusal without words"
        return "refused"
    _accounted(campaign, path)
    inputs = lay_out(campaign)
    if seed % 10 == 0:
        rehearse(campaign, inputs, with_overrides(campaign.priors), seed)
    return "read"


def _accounted(campaign: Campaign, path: Path) -> None:
    """Assert that every row of the log is there, and each once."""
    assert str(len(campaign.trials)) in accounting_line(campaign), "the rows are not accounted for"
    assert campaign.trials.index.is_unique, "a trial stands there twice"
    if path.is_dir():
        text = (path / "trials.csv").read_bytes().decode("utf-8-sig")
        separator = ";" if ";" in text.split("\n")[0] and "," not in text.split("\n")[0] else ","
        rows = [
            row
            for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator)
            if any(map(str.strip, row))
        ]
        assert len(campaign.trials) == len(rows) - 1, "a row was lost"


def campaign(work: Path, seed: int) -> str:
    """Try one changed campaign folder."""
    return read_or_refused(mutated_campaign(work / "campaign", seed), seed)


def settings(work: Path, seed: int) -> str:
    """Try changed settings, one in twenty of them beside the tables of the base campaign."""
    chance = random.Random(seed)
    values = (
        *CELLS[:20],
        '"a"',
        "[1]",
        "{a=1}",
        "true",
        "1e400",
        "0.2",
        "2",
        "9" * 5000,
        "0x" + "F" * 4500,
        "[" * 2000,
        "1979-05-27",
    )
    keys = (
        "title",
        "units",
        "author",
        "licence",
        "x",
        "boat",
        "thresholds.efficiency",
        "priors.visit_spread.median",
    )
    more = (
        "boat" + ".a" * 3000,
        "priors.ground_typical.mean",
        "priors.design_share.form",
        "weights.mud",
        "weights.x",
        "boat.bow_height_ft",
    )
    lines = [
        f"{chance.choice((*keys, *more))} = {chance.choice(values)}"
        for _ in range(chance.choice((1, 1, 2, 4)))
    ]
    if chance.random() < 0.5:
        lines = ['title = "Spring"', "boat.bow_height_m = 1.2", "weights.sand = 2", *lines[:1]]
    data = "\n".join(lines).encode("utf-8", "surrogatepass")
    data = mutated_bytes(data, chance) if chance.random() < 0.3 else data
    if seed % 20 == 0:
        files = {name: _csv(rows) for name, rows in BASE.items()}
        write_campaign(work / "settings", {**files, "campaign.toml": data})
        return read_or_refused(work / "settings", seed)
    findings = Findings()
    read = read_settings(data, findings)
    try:
        with_overrides(read.priors)
    except CampaignError as error:
        assert error.findings, "refused without a fault"
        return "refused"
    assert all(len(text) <= 200 for text in (read.title, read.author, read.licence)), "a text over the limit"
    return "refused" if findings.any_fault else "read"


def mutated_workbook(path: Path, seed: int) -> Path:
    """Write a changed workbook and return it."""
    chance = random.Random(seed)
    book = Workbook()
    book.remove(book.active)
    for name, rows in mutated_tables(chance).items():
        sheet = book.create_sheet(name.removesuffix(".csv"))
        for row, cells in enumerate(rows, start=1):
            for column, text in enumerate(cells, start=1):
                value = (
                    float(text) if text.isdigit() and text.isascii() and len(text) < 300 else _storable(text)
                )
                sheet.cell(row, column, value)
        if chance.random() < 0.3:
            odd = (
                datetime.datetime(2024, 5, 1, 3),
                datetime.date(1900, 1, 1),
                datetime.time(1),
                True,
                "=1/0",
                "#N/A",
                1e300,
            )
            sheet.cell(chance.randrange(1, 12), chance.randrange(1, 12), chance.choice(odd))
    path.parent.mkdir(parents=True, exist_ok=True)
    book.save(path)
    if chance.random() < 0.3:
        path.write_bytes(mutated_bytes(path.read_bytes(), chance))
    return path


def _storable(text: str) -> str:
    """Return a text as a sheet can hold it."""
    return "".join(letter for letter in text if letter >= " " or letter in "\n\t")[:30_000]


def workbook(work: Path, seed: int) -> str:
    """Try one changed workbook."""
    return read_or_refused(mutated_workbook(work / "book.xlsx", seed), seed)

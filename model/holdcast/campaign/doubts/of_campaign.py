"""Doubts: what can be read and may be right, and yet a person should look at."""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from difflib import SequenceMatcher
from itertools import combinations

import numpy as np
import pandas as pd

from holdcast.campaign.checks.collected import Findings, shorten
from holdcast.campaign.checks.many_rows import FEWEST_OF_A_SLIP, most_of
from holdcast.campaign.columns.cell_values import ABSENT
from holdcast.campaign.doubts.lone_days import add_lone_day_doubt
from holdcast.campaign.doubts.measures import add_anchor_doubts, add_seabed_doubts
from holdcast.campaign.doubts.sheet_masks import doubt_where, has_word, numbers
from holdcast.campaign.doubts.tenfold_mass import add_mass_doubts
from holdcast.campaign.doubts.wrong_suffix import add_load_doubts
from holdcast.campaign.files.sheets import Mask, Sheet
from holdcast.campaign.files.starter import EXAMPLE_LABELS

__all__ = ["add_doubts"]

MOST_LABELS_COMPARED = 400

_NO = {"no", "n", "0", "false", "0.0", "off", "nein", "non", "ei", "nej", "nee"}
_FINE = {
    "ok",
    "okay",
    "fine",
    "good",
    "valid",
    "keep",
    "kept",
    "include",
    "included",
    "used",
    "count",
    "counts",
}
_YES = {"yes", "y", "1", "true", "x", "on"}


def add_doubts(sheets: Mapping[str, Sheet], today: date, findings: Findings) -> None:
    """Add the doubts about every file that could be read.

    Parameters
    ----------
    sheets : mapping of str to Sheet
        Sheets by file name.
    today : date
        Later dates are doubts.
    findings : Findings
        Doubts are added here.
    """
    anchors, seabeds, trials = (sheets.get(f"{name}.csv") for name in ("anchors", "seabeds", "trials"))
    doubted = np.zeros(0 if anchors is None else len(anchors.rows), dtype=bool)
    if anchors is not None:
        if trials is not None:
            doubted = add_mass_doubts(anchors, trials, findings)
        add_anchor_doubts(anchors, ~doubted, findings)
        _like_labels(anchors, "anchor", findings)
        _like_labels(anchors, "design", findings)
    if seabeds is not None:
        add_seabed_doubts(seabeds, findings)
        _like_labels(seabeds, "seabed", findings)
    for file, column in (("trials.csv", "date"), ("instruments.csv", "calibrated")):
        if file in sheets:
            _future(sheets[file], column, today, findings)
    _examples_left(sheets, findings)
    if trials is not None:
        _log_doubts(sheets, trials, doubted, findings)


def _log_doubts(sheets: Mapping[str, Sheet], trials: Sheet, doubted: Mask, findings: Findings) -> None:
    """Add the doubts about the log, and about what it says of anchors and seabeds.

    ``doubted`` are the anchors whose mass is in doubt already.
    """
    anchors, seabeds = (sheets.get(f"{name}.csv") for name in ("anchors", "seabeds"))
    _trial_doubts(trials, findings)
    if "instruments.csv" not in sheets:
        _instruments(trials, findings)
    if anchors is not None:
        frame = anchors.frame.assign(mass_kg=anchors.frame["mass_kg"].mask(doubted))
        masses = frame.drop_duplicates("anchor").set_index("anchor")["mass_kg"]
        add_load_doubts(trials, masses, findings)
    for sheet, label in ((anchors, "anchor"), (seabeds, "seabed")):
        if sheet is not None and trials.has(label) and trials.has("test"):
            _untested(sheet, label, trials, findings)


def _future(sheet: Sheet, column: str, today: date, findings: Findings) -> None:
    later = (sheet.frame[column] > pd.Timestamp(today)).to_numpy(dtype=bool)
    fix = "Check the year, month and day, or this machine's clock."
    doubt_where(sheet, later, column, f"a date not after {today.isoformat()}", fix, findings)


def _examples_left(sheets: Mapping[str, Sheet], findings: Findings) -> None:
    fix = "The example shows what to write, and would count as your own: delete the row."
    for file, sheet in sheets.items():
        column = str(sheet.frame.columns[0])
        examples = (sheet.frame[column] == EXAMPLE_LABELS[file]).to_numpy(dtype=bool)
        doubt_where(sheet, examples, column, "rows of your own", fix, findings)


def _trial_doubts(sheet: Sheet, findings: Findings) -> None:
    _exclusions(sheet, findings)
    _fields_of_other_tests(sheet, findings)
    _repeated_rows(sheet, findings)
    _visits_of_many_days(sheet, findings)
    _pulls_without_visit(sheet, findings)
    add_lone_day_doubt(sheet, findings)
    held, released = numbers(sheet, "held_n"), numbers(sheet, "released_n")
    if most_of(released < held, (held > 0) & (released > 0)):
        return  # the columns are wrong as a whole, which is a fault already
    _setting(sheet, findings)
    why_open = (
        has_word(sheet, "test", "pull") & has_word(sheet, "stopped_by", "") & has_word(sheet, "exclude", "")
    )
    why_open &= ~has_word(sheet, "set", "no")
    open_above = why_open & (held > 0) & np.isnan(released)
    open_above &= sheet.sound("released_n", "stopped_by", "exclude")
    fix = (
        "It is read as held, not let go. Write why the pull ended; if it let go, write the load in released."
    )
    doubt_where(sheet, open_above, "stopped_by", "boat_limit, gear, safety or time", fix, findings)


def _exclusions(sheet: Sheet, findings: Findings) -> None:
    folded = sheet.frame["exclude"].str.casefold().str.strip(" .!")
    filled = folded != ""
    says_nothing = folded.isin(_NO | ABSENT) | (filled & ~folded.str.contains(r"[^\W\d_]"))
    says_fine, says_yes = folded.isin(_FINE), folded.isin(_YES)
    for rows, fix in (
        (
            says_nothing & ~says_yes & ~says_fine,
            "The row is left out, because this cell is not blank. Clear the cell if the row should count.",
        ),
        (
            says_fine,
            "The row is left out, though the cell says that all was well. Clear the cell, and it counts.",
        ),
        (says_yes, "Write why it is left out: fouled, wrong gear, load cell slipped."),
    ):
        _doubt_words(sheet, rows.to_numpy(dtype=bool), "exclude", "a reason, or a blank cell", fix, findings)


def _doubt_words(sheet: Sheet, rows: Mask, column: str, allowed: str, fix: str, findings: Findings) -> None:
    """Doubt each row's word by itself, or many rows of one word once."""
    words = sheet.frame[column]
    for word in dict.fromkeys(words[rows]):
        same = rows & (words == word).to_numpy(dtype=bool)
        if same.sum() < FEWEST_OF_A_SLIP:
            doubt_where(sheet, same, column, allowed, fix, findings)
            continue
        what = f"{shorten(str(word))} in {same.sum()} rows"
        sheet.report_together(findings, same, column, what=what, allowed=allowed, fix=fix, severity="doubt")


def _fields_of_other_tests(sheet: Sheet, findings: Findings) -> None:
    for test, columns in (
        ("reset", ("attempts", "successes", "reversal_deg")),
        ("veer", ("veer_deg", "veer_held_deg")),
    ):
        other = ~has_word(sheet, "test", test, "") & sheet.sound("test")
        for column in columns:
            filled = other & ~np.isnan(numbers(sheet, column))
            fix = f"This column belongs to a {test} and is not used here. Check what kind of test this was."
            doubt_where(sheet, filled, column, f"a blank cell unless the test is a {test}", fix, findings)


def _setting(sheet: Sheet, findings: Findings) -> None:
    """Doubt what a row says of setting where its other cells speak against it."""
    slid = has_word(sheet, "set", "no") & has_word(sheet, "test", "pull") & has_word(sheet, "exclude", "")
    held = slid & (numbers(sheet, "held_n") > 0) & sheet.sound("held_n")
    fix = "It held a load, so did it dig in? If it slid from the start, leave held blank."
    doubt_where(sheet, held, "set", "no only where it never held", fix, findings)
    stopped = slid & ~has_word(sheet, "stopped_by", "", "anchor") & ~held & sheet.sound("stopped_by")
    stopped &= np.isnan(numbers(sheet, "released_n"))
    fix = "An anchor that never dug in ended the pull itself: write anchor, or check whether it did dig in."
    doubt_where(sheet, stopped, "stopped_by", "anchor, or a blank cell, where set is no", fix, findings)
    other = (
        has_word(sheet, "test", "reset", "veer") & ~has_word(sheet, "set", "") & sheet.sound("test", "set")
    )
    fix = "This column belongs to a pull and is not used here: a reset counts successes, a veer had set."
    doubt_where(sheet, other, "set", "a blank cell unless the test is a pull", fix, findings)


def _counted(sheet: Sheet) -> pd.DataFrame:
    """Return the rows that are not excluded, each visit named as far as the file tells."""
    frame = sheet.frame[has_word(sheet, "exclude", "")]
    day = frame["date"].dt.strftime("%Y-%m-%d").fillna("").astype("str")
    return frame.assign(visit=frame["visit"].where(frame["visit"] != "", day))


def _repeated_rows(sheet: Sheet, findings: Findings) -> None:
    if any(not sheet.has(column) for column in sheet.unread):
        return  # the rows may differ in the column that was not read
    rows = _counted(sheet)
    rows = rows[rows["visit"] != ""].drop(columns="trial")
    repeated = np.zeros(len(sheet.rows), dtype=bool)
    repeated[rows.index[rows.duplicated()].to_numpy(dtype=int)] = True
    sheet.report(
        findings,
        repeated,
        "trial",
        allowed="each test once",
        fix="An earlier row has the same anchor, seabed, visit and values: was one test entered twice?",
        found=lambda _: "a row that stands there already",
        severity="doubt",
    )


def _visits_of_many_days(sheet: Sheet, findings: Findings) -> None:
    """Doubt a visit's name that was used on several days at one seabed, such as 1 for each day's first."""
    rows = _counted(sheet)
    rows = rows[(rows["visit"] != "") & rows["date"].notna()]
    days = rows.groupby(["seabed", "visit"])["date"].transform("nunique")
    later = rows[days > 1].drop_duplicates(["seabed", "visit"], keep="last")
    where = np.zeros(len(sheet.rows), dtype=bool)
    where[later.index.to_numpy(dtype=int)] = True
    where &= sheet.sound("seabed")
    fix = "Rows of other days at this seabed have the same visit: give other visits other names."
    doubt_where(sheet, where, "visit", "a name for each visit", fix, findings)


def _pulls_without_visit(sheet: Sheet, findings: Findings) -> None:
    """Doubt, once, the pulls that tell neither day nor visit: each is a visit of its own."""
    alone = has_word(sheet, "test", "pull") & has_word(sheet, "exclude", "") & has_word(sheet, "visit", "")
    alone &= sheet.frame["date"].isna().to_numpy() & sheet.sound("test", "exclude", "visit", "date")
    if not (number := int(alone.sum())):
        return
    what = "1 pull has neither" if number == 1 else f"{number} pulls have neither"
    fix = (
        "Each counts as a visit of its own. Pulls of one day share spot, tide and rigging; counted as visits "
        "of their own they make the bands too narrow. Write the date of each."
    )
    findings.doubt(
        sheet.file, f"{what} date nor visit", "a date or a visit for each pull", fix, column="visit"
    )


def _instruments(trials: Sheet, findings: Findings) -> None:
    named = trials.frame["instrument"] != ""
    if named.any():
        fix = (
            "Write the error of each into instruments.csv, and the bands allow for it. Without it every "
            "reading counts as exact."
        )
        findings.doubt(trials.file, "instruments named, no instruments.csv", "", fix, column="instrument")


def _untested(sheet: Sheet, label: str, trials: Sheet, findings: Findings) -> None:
    tested = trials.frame.loc[has_word(trials, "exclude", "") & has_word(trials, "test", "pull"), label]
    if tested.empty:
        return  # no pull counts at all, which is one thing to say and no 30
    names = sheet.frame[label]
    untested = (~names.isin(tested) & (names != "")).to_numpy(dtype=bool)
    fix = "No pull of it counts, so its capacity comes from the others alone. Is its name spelt the same?"
    doubt_where(sheet, untested, label, "a pull in trials.csv that counts", fix, findings)


def _like_labels(sheet: Sheet, label: str, findings: Findings) -> None:
    """Doubt labels that differ as typing slips do."""
    names = [name for name in dict.fromkeys(sheet.frame[label]) if name][:MOST_LABELS_COMPARED]
    places = {name: place for place, name in enumerate(sheet.frame[label])}
    for first, second in _alike(names):
        fix = f"Is it the same as {first}? Then give both the same name; if not, all is well."
        row = int(sheet.rows[places[second]])
        found = f"{shorten(second)}, very like {shorten(first)}"
        header = sheet.headers.get(label, label)
        findings.doubt(sheet.file, found, "", fix, row=row, column=header)


def _alike(names: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield pairs that differ in spaces and signs only, or by a slip inside one long word."""
    words = {name: re.findall(r"\d+|[^\W\d_]+", name.casefold()) for name in names}
    for first, second in combinations(names, 2):
        if first.casefold() == second.casefold():
            continue  # a fault already
        one, other = words[first], words[second]
        if "".join(one) == "".join(other) != "" or _one_slip(one, other):
            yield first, second


def _one_slip(one: Sequence[str], other: Sequence[str]) -> bool:
    if len(one) != len(other):
        return False
    differing = [(a, b) for a, b in zip(one, other, strict=True) if a != b]
    if len(differing) != 1:
        return False
    a, b = differing[0]
    long_words = min(len(a), len(b)) >= 5 and abs(len(a) - len(b)) <= 1 and a.isalpha() and b.isalpha()
    return long_words and SequenceMatcher(None, a, b).ratio() >= 0.85

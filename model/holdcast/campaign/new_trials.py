"""New trials for a log that is known: one CSV file in the columns of trials.csv, checked as a campaign is."""

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from holdcast.campaign.checks.collected import Findings, nearest
from holdcast.campaign.checks.trials import check_rode, check_trials, trial_frame
from holdcast.campaign.columns.known_columns import INSTRUMENTS, TRIALS
from holdcast.campaign.doubts.of_campaign import add_doubts
from holdcast.campaign.doubts.unusual_numbers import add_unusual
from holdcast.campaign.doubts.wrong_suffix import add_load_doubts
from holdcast.campaign.files.limits import too_large
from holdcast.campaign.files.read_sheets import empty_sheet, read_sheet
from holdcast.campaign.files.sheets import Sheet
from holdcast.campaign.files.tables import Table, csv_table
from holdcast.campaign.records import CampaignError, Finding

__all__ = ["KnownLog", "NewTrials", "read_new_trials"]


@dataclass(frozen=True)
class KnownLog:
    """The log that new trials come to.

    Attributes
    ----------
    anchors, seabeds, rodes, trials : DataFrame
        Its tables, by label.
    bow_height_m : float
        Of the boat [m]; NaN when it was not given.
    """

    anchors: pd.DataFrame
    seabeds: pd.DataFrame
    rodes: pd.DataFrame
    trials: pd.DataFrame
    bow_height_m: float


@dataclass(frozen=True)
class NewTrials:
    """A file of new trials without faults.

    Attributes
    ----------
    rows : DataFrame, index trial
        As ``Campaign.trials``.
    table : Table
        Its cells as written.
    doubts : tuple of Finding
    """

    rows: pd.DataFrame
    table: Table
    doubts: tuple[Finding, ...]


def read_new_trials(path: Path, log: KnownLog, *, today: date | None = None) -> NewTrials:
    """Read and check new trials.

    Parameters
    ----------
    path : Path
        CSV file in the columns of trials.csv.
    log : KnownLog
        Whose anchors and seabeds they may name, and whose trials they may not repeat.
    today : date, optional
        Later dates are doubts; the day of reading by default.

    Raises
    ------
    CampaignError
        With every fault.
    OSError
        When the file cannot be read.
    """
    findings = Findings()
    columns = replace(TRIALS, file=path.name)
    if too_large(path, findings):
        raise CampaignError(findings.shown((path.name,)))
    table = csv_table(
        path.read_bytes(), path.name, findings, label=columns.label, columns=columns.written_names
    )
    if table is None:
        raise CampaignError(findings.shown((path.name,)))
    if not table.rows:
        findings.fault(path.name, "a header without rows", "at least one row", "Write one row for each test.")
    sheet = read_sheet(table, columns, findings)
    _check(sheet, log, findings)
    # What the fit knows of instruments is checked with the campaign itself.
    sheets = {TRIALS.file: sheet, INSTRUMENTS.file: empty_sheet(INSTRUMENTS)}
    add_doubts(sheets, today or date.today(), findings)
    add_unusual(sheets, findings)
    add_load_doubts(sheet, log.anchors["mass_kg"], findings)
    notes = findings.shown((path.name,))
    if findings.any_fault:
        raise CampaignError(notes)
    return NewTrials(trial_frame(sheet), table, notes)


def _check(sheet: Sheet, log: KnownLog, findings: Findings) -> None:
    labels = {"rode": ("rodes.csv of the campaign", list(log.rodes.index))}
    check_trials(sheet, labels, log.bow_height_m, findings)
    if len(log.rodes):
        check_rode(sheet, log.rodes, findings)
    for kind, table in (("anchor", log.anchors), ("seabed", log.seabeds)):
        _check_known(sheet, kind, [str(name) for name in table.index], findings)
    _check_new(sheet, [str(name) for name in log.trials.index], findings)


def _check_known(sheet: Sheet, kind: str, names: list[str], findings: Findings) -> None:
    """Add a fault for each anchor or seabed that the fit does not know."""
    if not sheet.has(kind):
        return
    written = sheet.frame[kind].astype("str")
    unknown = (~written.isin(names) & (written != "")).to_numpy(dtype=bool)

    def fix(place: int) -> str:
        likely = nearest(written.iloc[place], names)
        refit = (
            f"A new {kind} needs a refit: write it into {kind}s.csv and its rows into trials.csv, "
            "and run holdcast fit."
        )
        return f"Did you mean {likely}? {refit}" if likely else refit

    listed = ", ".join(names[:12]) + (", …" if len(names) > 12 else "")
    allowed = f"{'an' if kind == 'anchor' else 'a'} {kind} of the fit ({listed})"
    sheet.report(findings, unknown & sheet.sound(kind), kind, allowed=allowed, fix=fix)


def _check_new(sheet: Sheet, names: list[str], findings: Findings) -> None:
    """Add a fault for each trial that the log holds already."""
    if not sheet.has("trial"):
        return
    by_case = {name.casefold() for name in names}
    there = sheet.frame["trial"].astype("str").str.casefold().isin(by_case).to_numpy(dtype=bool)
    sheet.report(
        findings,
        there & sheet.sound("trial"),
        "trial",
        allowed="names of trials that the log does not hold yet",
        fix="The log has a trial of this name: was the row added before? If it is another test, rename it.",
    )

"""Read a campaign: every file, every fault in one pass."""

import hashlib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path

import pandas as pd

from holdcast.campaign.checks.anchors import anchor_frame, check_anchors
from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.checks.labels import check_unique
from holdcast.campaign.checks.seabeds import check_seabeds, seabed_frame
from holdcast.campaign.checks.trials import check_chain, check_rode, check_trials, trial_frame
from holdcast.campaign.columns.known_columns import (
    ANCHORS,
    FILES,
    INSTRUMENTS,
    RODES,
    SEABEDS,
    TRIALS,
    FileColumns,
)
from holdcast.campaign.doubts.of_campaign import add_doubts
from holdcast.campaign.doubts.unusual_numbers import add_unusual
from holdcast.campaign.files.folder import read_files
from holdcast.campaign.files.read_sheets import empty_sheet, read_sheet
from holdcast.campaign.files.sheets import Sheet
from holdcast.campaign.files.tables import csv_table
from holdcast.campaign.files.workbook import WORKBOOK, sheet_name
from holdcast.campaign.records import Campaign, CampaignError, Finding
from holdcast.campaign.settings import FILE as SETTINGS_FILE
from holdcast.campaign.settings import Settings, check_weights, read_settings

__all__ = ["as_in_source", "read_campaign"]

_FILE_ORDER = (SETTINGS_FILE, *(spec.file for spec in FILES))


def read_campaign(path: str | Path, *, today: date | None = None) -> Campaign:
    """Read and check a campaign.

    Parameters
    ----------
    path : str or Path
        Folder with anchors.csv, seabeds.csv and trials.csv, and perhaps rodes.csv, instruments.csv and
        campaign.toml; or a workbook (.xlsx) with sheets of these names, without their endings.
    today : date, optional
        Dates after this one are doubts; the day of reading by default.

    Returns
    -------
    Campaign
        In SI units, with its doubts.

    Raises
    ------
    CampaignError
        With every fault of every file, and the doubts.
    """
    findings = Findings()
    source = Path(path)
    files = read_files(source, _FILE_ORDER, findings)
    has_settings = SETTINGS_FILE in files
    settings = read_settings(files[SETTINGS_FILE], findings) if has_settings else Settings()
    sheets = {spec.file: sheet for spec in FILES if (sheet := _sheet(spec, files, findings)) is not None}
    _check(sheets, files, settings, today or date.today(), findings)
    notes = as_in_source(findings.shown(_FILE_ORDER), source)
    if findings.any_fault:
        raise CampaignError(notes)
    return _campaign(source, files, settings, sheets, notes)


def as_in_source(findings: Iterable[Finding], source: Path) -> tuple[Finding, ...]:
    """Return findings with the names that their source has: files of a folder, or sheets of a workbook."""
    if source.suffix.casefold() != WORKBOOK:
        return tuple(findings)
    return tuple(
        replace(
            finding,
            file=_sheets_named(finding.file),
            allowed=_sheets_named(finding.allowed),
            fix=_sheets_named(finding.fix),
        )
        for finding in findings
    )


def _sheets_named(text: str) -> str:
    """Return a text that speaks of sheets where it spoke of the files that they stand for."""
    for file in _FILE_ORDER:
        text = text.replace(file, f"sheet {sheet_name(file)}")
    return text


def _campaign(
    source: Path,
    files: Mapping[str, bytes],
    settings: Settings,
    sheets: Mapping[str, Sheet],
    doubts: tuple[Finding, ...],
) -> Campaign:
    """Put a campaign without faults together."""
    return Campaign(
        source=source,
        digest=_digest(files),
        **{name: getattr(settings, name) for name in _setting_names()},
        anchors=anchor_frame(sheets[ANCHORS.file]),
        seabeds=seabed_frame(sheets[SEABEDS.file]),
        trials=trial_frame(sheets[TRIALS.file]),
        rodes=_plain_frame(sheets, RODES),
        instruments=_plain_frame(sheets, INSTRUMENTS),
        doubts=doubts,
    )


def _setting_names() -> tuple[str, ...]:
    return tuple(asdict(Settings()))


def _sheet(spec: FileColumns, files: Mapping[str, bytes], findings: Findings) -> Sheet | None:
    """Read one file into a sheet; None when it is absent or no table."""
    if spec.file not in files:
        return None
    table = csv_table(files[spec.file], spec.file, findings, label=spec.label, columns=spec.written_names)
    if table is None:
        return None
    if not table.rows:
        fix = "Write one row for each entry below the column names."
        findings.fault(spec.file, "a header without rows", "at least one row", fix)
    return read_sheet(table, spec, findings)


def _check(
    sheets: Mapping[str, Sheet],
    files: Mapping[str, bytes],
    settings: Settings,
    today: date,
    findings: Findings,
) -> None:
    """Check what the cells say together, within each file that could be read and between them."""
    anchors, seabeds, trials = (sheets.get(spec.file) for spec in (ANCHORS, SEABEDS, TRIALS))
    if anchors is not None:
        check_anchors(anchors, findings)
    if seabeds is not None:
        check_seabeds(seabeds, findings)
        if seabeds.has("seabed"):
            check_weights(settings.weights, set(seabeds.frame["seabed"]), findings)
    for spec in (RODES, INSTRUMENTS):
        if spec.file in sheets:
            check_unique(sheets[spec.file], spec.label, findings)
    if RODES.file in sheets:
        check_chain(sheets[RODES.file], findings)
    if trials is not None:
        labels = _known_labels(sheets, files)
        check_trials(trials, labels, settings.boat.get("bow_height_m", float("nan")), findings)
        if RODES.file in sheets:
            check_rode(trials, sheets[RODES.file].frame.set_index("rode"), findings)
    add_doubts(sheets, today, findings)
    add_unusual(sheets, findings)


def _known_labels(
    sheets: Mapping[str, Sheet], files: Mapping[str, bytes]
) -> dict[str, tuple[str, Collection[str]]]:
    """Return the labels that trials may use; a file that could not be read forbids none."""
    labels: dict[str, tuple[str, Collection[str]]] = {}
    for spec in (ANCHORS, SEABEDS, RODES, INSTRUMENTS):
        sheet = sheets.get(spec.file)
        if sheet is not None and sheet.has(spec.label):
            labels[spec.label] = (spec.file, [name for name in sheet.frame[spec.label] if name])
    if RODES.file not in files:
        labels[RODES.label] = (RODES.file, [])  # a rode that nobody described has no known weight
    return labels


def _plain_frame(sheets: Mapping[str, Sheet], spec: FileColumns) -> pd.DataFrame:
    sheet = sheets.get(spec.file) or empty_sheet(spec)
    return sheet.frame.set_index(spec.label)


def _digest(files: Mapping[str, bytes]) -> str:
    """Return SHA-256 over names, lengths and bytes of the input files, in a fixed order."""
    digest = hashlib.sha256()
    for name in _FILE_ORDER:
        if name in files:
            digest.update(f"{name}\n{len(files[name])}\n".encode())
            digest.update(files[name])
    return digest.hexdigest()

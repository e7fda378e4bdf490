"""Requests for predictions: one CSV file whose rows ask for an anchor in a seabed, known or new."""

import re
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from holdcast.campaign.checks.anchors import check_anchors
from holdcast.campaign.checks.collected import Findings, nearest
from holdcast.campaign.checks.labels import check_known, check_unique
from holdcast.campaign.checks.seabeds import check_seabeds
from holdcast.campaign.checks.trials import check_chain
from holdcast.campaign.columns.known_columns import ANCHORS, BARE, SEABEDS, TRIALS, Column, FileColumns
from holdcast.campaign.files.limits import too_large
from holdcast.campaign.files.read_sheets import read_sheet
from holdcast.campaign.files.sheets import Mask, Sheet
from holdcast.campaign.files.tables import Table, csv_table
from holdcast.campaign.records import CampaignError, Finding

__all__ = ["KnownNames", "read_requests"]

_SAME = 0.01
"""How far a measure may stand from that of the known anchor or seabed it is written for (a choice)."""
_GEOMETRY = ("scope", "rode", "depth", "bow_height", "chain", "chain_length")


@dataclass(frozen=True)
class KnownNames:
    """What a request may name.

    Attributes
    ----------
    anchors, seabeds : DataFrame
        The campaign's tables, by label.
    rodes : collection of str
        Rodes whose weight is known.
    """

    anchors: pd.DataFrame
    seabeds: pd.DataFrame
    rodes: Collection[str]


def read_requests(
    path: Path, names: KnownNames, *, skip_bad: bool = False
) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Read and check a file of requests.

    Parameters
    ----------
    path : Path
        CSV file with a column ``request`` and those of anchors.csv, seabeds.csv and of a trial's rode.
    names : KnownNames
        Names that may be used without a description.
    skip_bad : bool
        Leave rows with a fault out instead of refusing the file.

    Returns
    -------
    DataFrame, index request
        The good rows, in SI units and the names kept inside; a blank ``flag_NAME`` is missing.
    tuple of Finding
        Doubts and, with `skip_bad`, the faults of the rows left out.

    Raises
    ------
    CampaignError
        With every fault: of any row, or with `skip_bad` of the file as a whole.
    OSError
        When the file cannot be read.
    """
    findings = Findings()
    if too_large(path, findings):
        raise CampaignError(findings.shown((path.name,)))
    columns = _columns(path.name)
    table = csv_table(
        path.read_bytes(), path.name, findings, label=columns.label, columns=columns.written_names
    )
    of_file = findings.shown((path.name,))
    if table is None:
        raise CampaignError(of_file)
    frame, of_rows = _read(table, names)
    latest = (*of_file, *of_rows)
    findings_so_far = list(latest)
    # A flood of faults is counted, not listed, so rows are left out until none has a fault.
    while bad := {one.row for one in latest if one.severity == "fault" and one.file == table.file}:
        if not skip_bad or not bad <= set(table.numbers):
            raise CampaignError(tuple(findings_so_far))
        table = _without(table, bad)
        frame, latest = _read(table, names)
        findings_so_far += [one for one in latest if one.severity == "fault"]
    return frame, tuple(findings_so_far)


def _without(table: Table, bad: set[int | None]) -> Table:
    good = [place for place, number in enumerate(table.numbers) if number not in bad]
    return replace(
        table,
        rows=tuple(table.rows[place] for place in good),
        numbers=tuple(table.numbers[place] for place in good),
        ragged=table.ragged - bad,
    )


def _columns(file: str) -> FileColumns:
    """Return the columns of a file of requests: those of anchors, seabeds and a rode, only a name needed."""
    anchors = [replace(column, needed=False) for column in ANCHORS.columns]
    seabeds = [replace(column, needed=False) for column in SEABEDS.columns]
    geometry = [column for column in TRIALS.columns if column.name in _GEOMETRY]
    # A blank form is that of the design, where one is named.
    blank = [replace(column, default="") if column.name == "form" else column for column in anchors]
    name = Column("request", "label", needed=True)
    return FileColumns(file, (name, *blank, *seabeds, *geometry), has_flags=True)


def _read(table: Table, names: KnownNames) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    findings = Findings()
    if not table.rows:
        findings.fault(
            table.file, "no request that can be answered", "a row", "Write one row for each request."
        )
    sheet = read_sheet(table, _columns(table.file), findings)
    check_unique(sheet, "request", findings)
    rows = pd.Series([str(number) for number in sheet.rows], dtype="str")
    # Names may repeat here, unlike in a campaign; row numbers stand in, so that other checks can be shared.
    check_anchors(replace(sheet, frame=sheet.frame.assign(anchor=rows)), findings)
    check_seabeds(replace(sheet, frame=sheet.frame.assign(seabed=rows)), findings)
    _check_named(sheet, "anchor", names.anchors, "mass_kg", findings)
    _check_named(sheet, "seabed", names.seabeds, "soil", findings)
    _check_agreement(sheet, "anchor", names.anchors, findings)
    _check_agreement(sheet, "seabed", names.seabeds, findings)
    _check_flags(sheet, names.anchors, findings)
    check_known(sheet, "rode", names.rodes, "rodes.csv of the campaign", findings)
    check_chain(sheet, findings)
    frame = sheet.frame.assign(
        strength=sheet.frame["strength"].astype("str").str.casefold(),
        **{column: _flags(sheet, column) for column in sheet.texts if _is_flag(sheet, column)},
    )
    return frame.set_index("request"), findings.shown((table.file,))


def _is_flag(sheet: Sheet, column: str) -> bool:
    """Whether a column was read as a feature; ``flag_`` without a name was not, and is told by its header."""
    return column.startswith("flag_") and pd.api.types.is_bool_dtype(sheet.frame[column])


def _flags(sheet: Sheet, column: str) -> pd.Series:
    """Return a feature of each request: yes, no, or missing where the cell is blank."""
    written = pd.Series([bool(text) for text in sheet.texts[column]], index=sheet.frame.index, dtype=bool)
    return sheet.frame[column].astype("boolean").where(written)


def _check_named(sheet: Sheet, kind: str, table: pd.DataFrame, needed: str, findings: Findings) -> None:
    """Add a fault for each anchor or seabed that is neither known nor described."""
    names = sheet.frame[kind].astype("str")
    described = sheet.frame[needed]
    blank = (described == "" if needed == "soil" else described.isna()).to_numpy(dtype=bool)
    unknown = ~names.isin(table.index).to_numpy(dtype=bool)
    as_read = {_as_read(str(name)): str(name) for name in table.index}
    slip = unknown & names.map(_as_read).isin(as_read).to_numpy(dtype=bool)
    measure = "a mass" if kind == "anchor" else "a soil"
    one = "an anchor" if kind == "anchor" else "a seabed"

    def fix(place: int) -> str:
        name = names.iloc[place]
        likely = as_read.get(_as_read(name)) or (nearest(name, table.index) if name else "")
        new = f"for a new {kind} give {measure}."
        return f"Did you mean {likely}? Otherwise, {new}" if likely else f"Name a known {kind}; {new}"

    listed = ", ".join(table.index[:12]) + (", …" if len(table) > 12 else "")
    sheet.report(
        findings,
        ((unknown & blank) | slip) & sheet.sound(kind, needed),
        kind,
        allowed=f"{one} of the campaign ({listed}), or a new one with {measure}",
        fix=fix,
    )


def _as_read(name: str) -> str:
    """Return a name as it is read aloud: no capitals, spaces or signs, no letter like a digit behind one."""
    letters = "".join(each for each in name.casefold() if each.isalnum()) or name.casefold()
    return re.sub(r"(?<=\d)[oli]", lambda letter: {"o": "0"}.get(letter[0], "1"), letters)


def _check_agreement(sheet: Sheet, kind: str, table: pd.DataFrame, findings: Findings) -> None:
    """Add a fault where a known anchor or seabed is given a measure that is not its own."""
    names = sheet.frame[kind].astype("str")
    of_the_fit = names.isin(table.index).to_numpy(dtype=bool)
    spec = ANCHORS if kind == "anchor" else SEABEDS
    compared = {column.stored_name for column in spec.columns if column.kind in {"number", "word", "label"}}
    flags = {str(column) for column in table if str(column).startswith("flag_")}
    for column in sorted(
        (compared | flags | {"strength", "cover"})
        - {kind, "travel_h", "setup_h", "pull_h", "strength_scheme"}
    ):
        if not sheet.has(column) or column not in table:
            continue
        own = table[column].reindex(names)
        written = np.array([bool(text) for text in sheet.texts[column]], dtype=bool)
        sheet.report(
            findings,
            of_the_fit & written & _differs(sheet.frame[column], own) & sheet.sound(kind, column),
            column,
            allowed=f"what the campaign says of this {kind}, or a blank cell",
            fix=f"Leave it blank, or give the {kind} a name of its own when it is another one.",
        )


def _differs(written: pd.Series, own: pd.Series) -> Mask:
    if pd.api.types.is_numeric_dtype(written) and not pd.api.types.is_bool_dtype(written):
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = written.to_numpy(dtype=float) / own.to_numpy(dtype=float)
        # What the campaign left unmeasured cannot be told here: it belongs into its own table.
        return np.asarray(~(np.abs(ratio - 1.0) <= _SAME), dtype=bool)
    return np.array(
        [one != other for one, other in zip(_words(written), _words(own), strict=True)], dtype=bool
    )


def _words(column: pd.Series) -> list[str]:
    """Return words as they are compared: bare ground and a blank cover are one, and so are capitals."""
    texts = [str(text) for text in column]
    if column.name not in ("strength", "cover"):
        return texts
    return ["" if text.casefold() == BARE else text.casefold() for text in texts]


def _check_flags(sheet: Sheet, anchors: pd.DataFrame, findings: Findings) -> None:
    """Add a fault for a feature nearly named like a tested one, a doubt for one that nobody tested."""
    tested_flags = [str(column) for column in anchors if str(column).startswith("flag_")]
    for column in sheet.texts:
        if not _is_flag(sheet, column) or column in tested_flags:
            continue
        header, likely = sheet.headers[column], nearest(column, tested_flags, 0.8)
        listed, row = ", ".join(tested_flags) or "none", sheet.header_row
        if likely:
            fix = f"Did you mean {likely}?"
            findings.fault(sheet.file, f"the unknown feature {column}", listed, fix, row=row, column=header)
        else:
            fix = "Nobody has tested this feature: the answer rests on what features do in general."
            findings.doubt(sheet.file, f"the new feature {column}", listed, fix, row=row, column=header)

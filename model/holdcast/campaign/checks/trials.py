"""Trials: what the cells of one row say together, and which rows count."""

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.checks.labels import check_known, check_unique, check_written_alike
from holdcast.campaign.checks.many_rows import most_of
from holdcast.campaign.files.sheets import Mask, Sheet
from holdcast.physics.units import FACTORS, STORED

if TYPE_CHECKING:
    from holdcast.campaign.records import Campaign

__all__ = ["STATUSES", "accounting", "check_trials", "trial_frame"]

STATUSES = ("used", "excluded")

# A scope is written rounded, often to a whole number (common practice, no source).
SCOPE_TOLERANCE = 0.05

MOST_BETWEEN_STEPS = 1.9
"""Steps of load are finer, and the nearest two units of force are 2.2 times apart (a choice)."""

Numbers = npt.NDArray[np.float64]


def check_trials(
    sheet: Sheet,
    labels_by_column: Mapping[str, tuple[str, Collection[str]]],
    boat_bow_height: float,
    findings: Findings,
) -> None:
    """Add the faults that show only when a row's cells are read together.

    Parameters
    ----------
    sheet : Sheet
        The rows of trials.csv.
    labels_by_column : mapping
        For each label column, the file that defines its labels and the labels; columns left out are not
        checked.
    boat_bow_height : float
        Bow height of the boat [m] for rows without one; NaN when not given.
    findings : Findings
        Faults are added here.
    """
    check_unique(sheet, "trial", findings)
    check_written_alike(sheet, "visit", findings)
    for column, (file, labels) in labels_by_column.items():
        check_known(sheet, column, labels, file, findings)
    if not _check_loads(sheet, findings):
        _check_stopping(sheet, findings)
    _check_resets(sheet, findings)
    _check_veers(sheet, findings)
    _check_scope(sheet, boat_bow_height, findings)
    check_chain(sheet, findings)


def _column(sheet: Sheet, name: str) -> npt.NDArray[np.float64]:
    return sheet.frame[name].to_numpy(dtype=float)


def _is(sheet: Sheet, column: str, word: str) -> Mask:
    return (sheet.frame[column] == word).to_numpy(dtype=bool)


def _check_loads(sheet: Sheet, findings: Findings) -> bool:
    """Check that each pull has a load, and that it let go above what it held.

    Returns whether both columns as a whole are wrong, so that nothing that leans on them is worth saying.
    """
    held, released = _column(sheet, "held_n"), _column(sheet, "released_n")
    sound = sheet.sound("held_n", "released_n", "test", "set")
    neither = _is(sheet, "test", "pull") & ~(held > 0) & np.isnan(released) & ~_is(sheet, "set", "no") & sound
    allowed = "a load held, a load at which it let go, or both"
    if not (sheet.has("held_n") or sheet.has("released_n")) and neither.any():
        others = ", ".join(unit for unit in FACTORS["force"] if unit != STORED["force"])
        fix = f"Add held_n or released_n (or another unit of force: {others})."
        findings.fault(
            sheet.file, "neither a column held_* nor released_*", allowed, fix, row=sheet.header_row
        )
        return True
    fix = (
        "Fill one of them. An anchor that never held: leave held blank, write in released the load it ran "
        "at; if it never dug in and no load was read, write no in the column set."
    )
    column = "held_n" if sheet.has("held_n") else "released_n"
    found = "held and released both blank"
    sheet.report(findings, neither, column, allowed=allowed, fix=fix, found=lambda _: found, reading=True)
    return _check_order(sheet, held, released, sound, findings)


def _check_order(sheet: Sheet, held: Numbers, released: Numbers, sound: Mask, findings: Findings) -> bool:
    """Check that each pull let go above what it held; return whether most did not."""
    below = (released < held * (1 - 1e-9)) & sound
    both = (released > 0) & (held > 0) & sound
    if most_of(below, both):
        what = f"held above released in {below.sum()} of {both.sum()} rows that have both"
        times = float(np.median(held[below] / released[below]))
        fix = (
            f"The loads held are mostly {times:.2g} times the others: is the suffix of one column wrong?"
            if times > MOST_BETWEEN_STEPS
            else "Are the two columns swapped? Then swap their names: held is what it held before it let go."
        )
        sheet.report_together(
            findings, below, "released_n", what=what, allowed="at least the load held", fix=fix, reading=True
        )
        return True
    sheet.report(
        findings,
        below,
        "released_n",
        allowed="at least the load held",
        fix="Written the wrong way round? Then swap the two. Released is the load at which it let go after "
        "holding: drags while digging in are no releases.",
        reading=True,
    )
    return False


def _check_stopping(sheet: Sheet, findings: Findings) -> None:
    """Check that the reason for stopping fits whether the anchor let go."""
    released = ~np.isnan(_column(sheet, "released_n"))
    sound = sheet.sound("released_n", "stopped_by", "set")
    by_anchor = _is(sheet, "stopped_by", "anchor")
    by_another_reason = ~by_anchor & ~_is(sheet, "stopped_by", "")
    sheet.report(
        findings,
        released & by_another_reason & sound,
        "stopped_by",
        allowed="anchor, or a blank cell, when released is given",
        fix="If the anchor did not move, write the load in held and leave released blank; else write anchor.",
        reading=True,
    )
    sheet.report(
        findings,
        ~released & by_anchor & _is(sheet, "test", "pull") & ~_is(sheet, "set", "no") & sound,
        "stopped_by",
        allowed="boat_limit, gear, safety or time when released is blank",
        fix="If the anchor let go, write in released the load at which it did.",
        reading=True,
    )


def _check_resets(sheet: Sheet, findings: Findings) -> None:
    """Check that each reset counts its attempts and successes."""
    reset = _is(sheet, "test", "reset")
    attempts, successes = _column(sheet, "attempts"), _column(sheet, "successes")
    for column, values in (("attempts", attempts), ("successes", successes)):
        missing = reset & np.isnan(values) & sheet.sound(column, "test")
        fix = "Write how often it was tried and how often it set again; a single reset is 1 of 1 or 0 of 1."
        sheet.report(findings, missing, column, allowed="a whole number", fix=fix, reading=True)
    many = (successes > attempts) & sheet.sound("attempts", "successes")
    fix = "There cannot be more successes than attempts: check both numbers."
    sheet.report(findings, many, "successes", allowed="at most the attempts", fix=fix, reading=True)


def _check_veers(sheet: Sheet, findings: Findings) -> None:
    """Check that each veer has its angle, and held through no more than it."""
    angle, angle_held = _column(sheet, "veer_deg"), _column(sheet, "veer_held_deg")
    missing = _is(sheet, "test", "veer") & np.isnan(angle) & sheet.sound("veer_deg", "test")
    fix = "Write the angle that was asked for."
    sheet.report(findings, missing, "veer_deg", allowed="an angle in degrees", fix=fix, reading=True)
    beyond = (angle_held > angle) & sheet.sound("veer_deg", "veer_held_deg")
    fix = "It cannot hold through more than was asked of it. Leave the cell blank if it held all the way."
    sheet.report(findings, beyond, "veer_held_deg", allowed="at most veer_deg", fix=fix, reading=True)


def _check_scope(sheet: Sheet, boat_bow_height: float, findings: Findings) -> None:
    """Check that scope and rode length, depth and bow height tell the same geometry."""
    scope, length, depth = (_column(sheet, name) for name in ("scope", "rode_length_m", "depth_m"))
    bow = _column(sheet, "bow_height_m")
    bow = np.where(np.isnan(bow), boat_bow_height, bow)
    sound = sheet.sound("scope", "rode_length_m", "depth_m", "bow_height_m")
    height = depth + np.where(np.isnan(bow), 0.0, bow)
    short = (length < height) & sound
    fix = "The rode is shorter than depth and bow height together: check the units."
    sheet.report(
        findings, short, "rode_length_m", allowed="at least depth and bow height", fix=fix, reading=True
    )
    measured = length / height
    # Without a bow height the measured scope is only an upper limit.
    differs = np.where(
        np.isnan(bow),
        scope > measured * (1 + SCOPE_TOLERANCE),
        abs(scope / measured - 1) > SCOPE_TOLERANCE,
    )
    sheet.report(
        findings,
        differs & sound & ~short,
        "scope",
        allowed="rode length over depth plus bow height",
        fix=lambda place: f"Those give {measured[place]:.3g}: correct one of them, or leave the scope blank.",
        reading=True,
    )


def check_chain(sheet: Sheet, findings: Findings) -> None:
    """Add a fault where a chain has a weight without a length, or a length without a weight."""
    weight, length = _column(sheet, "chain_kg_per_m"), _column(sheet, "chain_length_m")
    sound = sheet.sound("chain_kg_per_m", "chain_length_m")
    half_told = (np.isnan(weight) != np.isnan(length)) & sound
    # A length of no chain needs no weight.
    half = half_told & ~((weight == 0) | (length == 0))
    for column, missing in (("chain_kg_per_m", np.isnan(weight)), ("chain_length_m", np.isnan(length))):
        fix = (
            "Give a chain's weight and its length together. If the rode is all chain, write its whole length."
        )
        sheet.report(findings, half & missing, column, allowed="a number", fix=fix, reading=True)


def check_rode(sheet: Sheet, rodes: pd.DataFrame, findings: Findings) -> None:
    """Add a fault where a trial names a rode and gives a chain that is not that rode's."""
    for column in ("chain_kg_per_m", "chain_length_m"):
        own = _column(sheet, column)
        named = sheet.frame["rode"].map(rodes[~rodes.index.duplicated()][column]).to_numpy(dtype=float)
        differs = (abs(own - named) > 0.05 * np.maximum(own, named)) & sheet.sound(column, "rode")
        fix = "Leave the chain's columns blank where a rode is named, or name the rode that was used."
        sheet.report(findings, differs, column, allowed="what rodes.csv says", fix=fix, reading=True)


def trial_frame(sheet: Sheet) -> pd.DataFrame:
    """Return every trial by label, defaults filled in, with the column ``status``."""
    frame = sheet.frame.copy()
    released = frame["released_n"].notna()
    frame["stopped_by"] = frame["stopped_by"].where((frame["stopped_by"] != "") | ~released, "anchor")
    frame["held_n"] = frame["held_n"].fillna(0.0)
    frame["released_n"] = frame["released_n"].fillna(np.inf)
    frame["reversal_deg"] = frame["reversal_deg"].where(
        frame["reversal_deg"].notna() | (frame["test"] != "reset"), 180.0
    )
    day = frame["date"].dt.strftime("%Y-%m-%d").fillna("").astype("str")
    own = "visit of " + frame["trial"]
    frame["visit"] = frame["visit"].where(frame["visit"] != "", day.where(day != "", own))
    frame["status"] = pd.Series(
        np.where(frame["exclude"] != "", "excluded", "used"), index=frame.index, dtype="str"
    )
    return frame.set_index("trial")


def accounting(campaign: "Campaign") -> dict[str, int]:
    """Count the trials: rows in the file, and of them used and excluded.

    Parameters
    ----------
    campaign : Campaign
        A campaign that was read.

    Returns
    -------
    dict of str to int
        Keys ``rows in``, ``used``, ``excluded``.

    Raises
    ------
    ValueError
        When a row has a status of no such name, so that the counts do not add up.
    """
    counts = campaign.trials["status"].value_counts()
    unknown = sorted(set(counts.index) - set(STATUSES))
    if unknown:
        raise ValueError(f"unknown status {', '.join(unknown)}; known: {', '.join(STATUSES)}")
    return {"rows in": len(campaign.trials)} | {status: int(counts.get(status, 0)) for status in STATUSES}

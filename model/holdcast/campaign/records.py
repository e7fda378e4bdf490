"""What reading a campaign gives: the campaign itself, or every fault found in it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from holdcast.campaign.columns.known_columns import TESTS
from holdcast.findings import CampaignError, Finding

__all__ = [
    "NEVER_HELD",
    "REPEAT_CORRECT_OR_KEEP",
    "TESTS",
    "Campaign",
    "CampaignError",
    "Finding",
    "PullToCheck",
    "each_told_once",
    "gathered_by_cell",
    "pulls_with_load",
    "used_rows",
]

REPEAT_CORRECT_OR_KEEP = "repeat, correct or keep"
"""What may be done about a pull that looks odd; leaving it out for that would bend the answers."""
NEVER_HELD = "it never held there"
"""Why a cell is listed in which no pull held anything."""
_MANY = 3
"""From so many odd pulls of one cell on a person reads one row about the cell (a choice)."""


@dataclass(frozen=True)
class Campaign:
    """Everything a tester logged, checked, in SI units.

    Parameters
    ----------
    source : Path
        The folder it was read from.
    digest : str
        SHA-256 over the names and bytes of the input files.
    title, author, licence : str
        As the tester wrote them; empty when not given.
    units : {"si", "us"}
        Units for the screen only; every number here is SI.
    anchors : DataFrame, index "anchor"
        One row a configuration: design, form, mass_kg, tip_load_kg [kg], fluke_area_m2, fluke_angle_deg,
        shank_length_m, shackle_in, source, measured_by, each ``flag_NAME`` as bool. NaN: not measured.
    seabeds : DataFrame, index "seabed"
        soil, secondary, strength, strength_scheme, strength_basis, undrained_strength_kpa,
        friction_angle_deg, cover, site, travel_h, setup_h, pull_h. A measured strength stands beside the
        class; the measured one counts.
    trials : DataFrame, index "trial"
        Every row of the file in its order, excluded ones too; ``status`` is ``used`` or
        ``excluded``. held_n is 0 when it never held; released_n is inf when it was not seen to move, or slid
        (``set`` is ``no``) at a load that nobody read; ``set`` is ``yes``, ``no`` or empty (not said);
        veer_held_deg is NaN when it held through the whole angle.
    rodes : DataFrame, index "rode"
        chain_kg_per_m, chain_length_m, grade, chain_mm, shackle_in.
    instruments : DataFrame, index "instrument"
        calibrated, error_pct.
    boat : mapping
        ``bow_height_m`` [m] when given.
    thresholds : mapping
        ``efficiency`` [1] when given.
    priors : mapping
        Tables by the prior's name, as written; checked where priors are known.
    weights : mapping
        Weight of a seabed [1], for an overall ranking; empty when not given.
    doubts : tuple of Finding
        What a person should look at.
    kind_weights : mapping
        Weight of a kind of test [1] in that ranking: ``pull``, ``reset``, ``veer``; empty when not given.
    """

    source: Path
    digest: str
    title: str
    author: str
    licence: str
    units: str
    anchors: pd.DataFrame
    seabeds: pd.DataFrame
    trials: pd.DataFrame
    rodes: pd.DataFrame
    instruments: pd.DataFrame
    boat: Mapping[str, float]
    thresholds: Mapping[str, float]
    priors: Mapping[str, Mapping[str, object]]
    weights: Mapping[str, float]
    doubts: tuple[Finding, ...]
    kind_weights: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class PullToCheck:
    """One pull, or all pulls of a cell or a visit, that a person should look at again.

    Parameters
    ----------
    trials : tuple of str
        Labels of the rows meant.
    anchor, seabed : str
        Of a visit, how many anchors were pulled.
    held_n, released_n : float
        What was read [N], as in ``Campaign.trials``; of several rows the highest held, the lowest released.
    expected_low_n, expected_high_n : float
        Between which loads a pull was expected [N]; NaN where nothing limits it.
    reason : str
        What is odd about it, in a few words.
    advice : str
        What to do.
    """

    trials: tuple[str, ...]
    anchor: str
    seabed: str
    held_n: float
    released_n: float
    expected_low_n: float
    expected_high_n: float
    reason: str
    advice: str = REPEAT_CORRECT_OR_KEEP


def each_told_once(pulls: Iterable[PullToCheck]) -> tuple[PullToCheck, ...]:
    """Return pulls to look at again with one row for the same trials: the first, with the reasons of all."""
    rows: dict[tuple[str, ...], PullToCheck] = {}
    for pull in pulls:
        first = rows.setdefault(pull.trials, pull)
        if pull.reason not in first.reason:
            rows[pull.trials] = replace(first, reason=f"{first.reason}; {pull.reason}")
    return tuple(rows.values())


def gathered_by_cell(pulls: Sequence[PullToCheck]) -> tuple[PullToCheck, ...]:
    """Return pulls to look at again for a person to read: one row where many pulls of one cell are listed.

    Parameters
    ----------
    pulls : sequence of PullToCheck
        The oddest first.

    Returns
    -------
    tuple of PullToCheck
        In the same order.  That an anchor never held in a seabed stands for all its pulls there; else the
        oddest of three pulls or more stands for the others, names them all and says so.
    """
    singles: dict[tuple[str, str], list[PullToCheck]] = {}
    for pull in pulls:
        if len(pull.trials) == 1:
            singles.setdefault((pull.anchor, pull.seabed), []).append(pull)
    rows: dict[tuple[tuple[str, ...], str], PullToCheck] = {}
    for pull in pulls:
        own = singles.get((pull.anchor, pull.seabed), [])
        row = _row_of_cell(pull, own, pulls) if pull in own else pull
        rows.setdefault((row.trials, row.reason), row)  # loads that are unknown are equal to nothing
    return tuple(rows.values())


def _row_of_cell(pull: PullToCheck, own: Sequence[PullToCheck], pulls: Sequence[PullToCheck]) -> PullToCheck:
    """Return what stands for one odd pull: that its anchor never held there, the oddest of many, or it."""
    trials = tuple(each.trials[0] for each in own)
    for whole in pulls:
        if NEVER_HELD in whole.reason and set(trials) <= set(whole.trials):
            return whole
    if len(own) < _MANY:
        return pull
    reason = f"{own[0].reason} (the oddest of {len(own)} odd pulls of this cell)"
    return replace(own[0], trials=trials, reason=reason)


def used_rows(trials: pd.DataFrame, test: str) -> pd.DataFrame:
    """Return the rows of one kind of test that count, in file order.

    Parameters
    ----------
    trials : DataFrame, index "trial"
        As ``Campaign.trials``; its columns ``status`` and ``test`` are read.
    test : {"pull", "reset", "veer"}

    Raises
    ------
    ValueError
        When there is no such kind of test.
    """
    if test not in TESTS:
        raise ValueError(f"unknown kind of test {test}; known: {', '.join(TESTS)}")
    return trials[(trials["status"] == "used") & (trials["test"] == test)]


def pulls_with_load(trials: pd.DataFrame) -> pd.DataFrame:
    """Return the pulls that count and have a load: held, or seen to let go or slide.

    A pull that never dug in (``set`` is ``no``) may have none.
    """
    pulls = used_rows(trials, "pull")
    has_load = (pulls["held_n"] > 0.0) | (pulls["released_n"] < np.inf)
    return pulls[has_load]

"""Pulls that a person should look at again: repeat, correct or keep them; none is ever dropped for it."""

import numpy as np
import pandas as pd

from holdcast.campaign.doubts.tenfold_mass import tenfold_masses
from holdcast.campaign.records import (
    NEVER_HELD,
    Campaign,
    Finding,
    PullToCheck,
    each_told_once,
    gathered_by_cell,
    pulls_with_load,
    used_rows,
)
from holdcast.physics.units import GRAVITY
from holdcast.plain_numbers import significant

__all__ = ["lone_anchor_doubts", "pull_doubts", "pull_findings", "pulls_to_check"]

TWIN_RATIO = 5.0
"""A pull whose interval lies this many times above or below its twins is listed [1] (a choice: a decimal
point gone wrong is a ratio of ten, less the scatter of pulls by half)."""
_LISTED_VISITS = 3
_MOST_TOLD = 12
"""Pulls to look at again that a check tells one by one."""


def pulls_to_check(trials: pd.DataFrame, anchors: pd.DataFrame) -> tuple[PullToCheck, ...]:
    """Return the pulls that look odd beside the others of the log, as far as it can be told without a fit.

    Parameters
    ----------
    trials, anchors : DataFrame
        As in `Campaign`.

    Returns
    -------
    tuple of PullToCheck
        Pulls far from their twins (same anchor, seabed and visit), loads below the anchor's weight, cells in
        which no pull ever held; in that order.  Of twins the farthest come first, the others in the order of
        the log.
    """
    pulls = pulls_with_load(trials)
    never_held = _never_held(used_rows(trials, "pull"))
    return each_told_once([*_unlike_twins(pulls), *_below_weight(pulls, anchors), *never_held])


def pull_doubts(campaign: Campaign) -> tuple[Finding, ...]:
    """Return the pulls to look at again as doubts, and one doubt where no two anchors share a visit."""
    return (*pull_findings(campaign.trials, campaign.anchors), *lone_anchor_doubts(campaign.trials))


def pull_findings(trials: pd.DataFrame, anchors: pd.DataFrame) -> tuple[Finding, ...]:
    """Return the pulls to look at again as doubts about the log: many of one cell as one, a dozen at most."""
    meant = tenfold_masses(anchors.reset_index(), pulls_with_load(trials))
    # A mass in doubt has its doubt already: its pulls are not held against it one by one.
    trusted = anchors.assign(mass_kg=anchors["mass_kg"].where(np.isnan(meant)))
    rows = gathered_by_cell(pulls_to_check(trials, trusted))
    doubts = tuple(map(_as_doubt, rows[:_MOST_TOLD]))
    return (*doubts, _more(len(rows) - _MOST_TOLD)) if len(rows) > _MOST_TOLD else doubts


def _more(number: int) -> Finding:
    found = f"{number} more pull{'' if number == 1 else 's'} or cells like these"
    fix = "Mend these first, and check again. A fit writes all of them into pulls_to_check.csv."
    return Finding("doubt", "trials.csv", None, "", found, "pulls that agree with their twins", fix)


def _typical_load(pulls: pd.DataFrame) -> pd.Series:
    """Return one load for each pull [N]: the middle of held and released on the log scale, else the one."""
    held, released = pulls["held_n"], pulls["released_n"].replace(np.inf, np.nan)
    lower = held.where(held > 0.0, released)
    upper = released.fillna(held)
    return pd.Series(np.sqrt(lower.to_numpy() * upper.to_numpy()), index=pulls.index)


def _median_load(pulls: pd.DataFrame) -> float:
    """Return the median of the pulls' typical loads [N], of two their middle on the log scale."""
    return float(np.exp(np.median(np.log(_typical_load(pulls).to_numpy()))))


def _unlike_twins(pulls: pd.DataFrame) -> list[PullToCheck]:
    """Return pulls that held and are many times stronger or weaker than the others of their visit."""
    listed: list[tuple[float, PullToCheck]] = []
    held = _in_scattered_groups(pulls[pulls["held_n"] > 0.0])
    cells = held.groupby(["anchor", "seabed"], sort=False)
    medians = {str(cell): _median_load(group) for cell, group in cells}
    for (anchor, seabed, _), group in held.groupby(["anchor", "seabed", "visit"], sort=False):
        if len(group) < 2:
            continue
        load = _typical_load(group)
        centre = _median_load(group) if len(group) > 2 else medians[str((anchor, seabed))]
        farness = np.abs(np.log(load / centre))
        # Of two pulls alone nobody can tell which is odd: the later one is named, the other beside it.
        odd = [farness.index[farness >= farness.max() - 1e-9][-1]] if len(group) == 2 else list(group.index)
        for trial in odd:
            others = group.drop(trial)
            if (pull := _far_from(str(trial), group.loc[trial], others)) is not None:
                listed.append((float(farness[trial]), pull))
    return [pull for _, pull in sorted(listed, key=lambda entry: -entry[0])]


def _in_scattered_groups(held: pd.DataFrame) -> pd.DataFrame:
    """Return the pulls of cells in which some load is so far from another that a pull may be listed."""
    spans = pd.DataFrame(
        {"load": _typical_load(held), "held": held["held_n"], "released": held["released_n"]}
    )
    groups = spans.groupby([held["anchor"], held["seabed"]], sort=False)
    least, most = groups.transform("min"), groups.transform("max")
    widest = np.maximum(most["held"] / least["load"], most["load"] / least["released"])
    return held[widest >= TWIN_RATIO]


def _far_from(trial: str, pull: pd.Series, others: pd.DataFrame) -> PullToCheck | None:
    """Return the pull when its interval lies many times above or below that of most of its twins."""
    middle = _median_load(others)
    above, below = float(pull["held_n"]) / middle, middle / float(pull["released_n"])
    if max(above, below) < TWIN_RATIO:
        return None
    twins = ", ".join(map(str, others.index[:3])) + (", …" if len(others) > 3 else "")
    times = significant(above if above > below else below, 2)
    side = "more" if above > below else "less"
    released = others["released_n"].replace(np.inf, np.nan)
    expected = float(others["held_n"].min()), float(released.max())
    plural = "" if len(others) == 1 else "s"
    return _of_row(trial, pull, expected, f"{times} times {side} than its twin{plural} that visit ({twins})")


def _below_weight(pulls: pd.DataFrame, anchors: pd.DataFrame) -> list[PullToCheck]:
    """Return pulls that held something and let go below the anchor's own weight in air."""
    weight = pulls["anchor"].map(anchors["mass_kg"]).astype(float) * GRAVITY
    low = (pulls["held_n"] > 0.0) & (pulls["released_n"] < weight)
    reason = "it let go below the anchor's own weight"
    return [
        _of_row(str(trial), pull, (float(own), float("nan")), reason)
        for (trial, pull), own in zip(pulls[low].iterrows(), weight[low], strict=True)
    ]


def _of_row(trial: str, pull: pd.Series, expected_n: tuple[float, float], reason: str) -> PullToCheck:
    anchor, seabed, held, released = (pull[name] for name in ("anchor", "seabed", "held_n", "released_n"))
    return PullToCheck((trial,), str(anchor), str(seabed), float(held), float(released), *expected_n, reason)


def _never_held(pulls: pd.DataFrame) -> list[PullToCheck]:
    """Return the cells in which no pull that counts held anything."""
    return [
        PullToCheck(
            tuple(map(str, group.index)),
            str(anchor),
            str(seabed),
            0.0,
            float(group["released_n"].min()),
            float("nan"),
            float("nan"),
            NEVER_HELD,
        )
        for (anchor, seabed), group in pulls.groupby(["anchor", "seabed"], sort=False)
        if not (group["held_n"] > 0.0).any()
    ]


def lone_anchor_doubts(trials: pd.DataFrame) -> tuple[Finding, ...]:
    """Return a doubt when anchors share seabeds but no two of them were ever pulled on one visit."""
    pulls = pulls_with_load(trials)
    shared = pulls.groupby("seabed")["anchor"].nunique()
    together = pulls.groupby(["seabed", "visit"])["anchor"].nunique()
    if not (shared > 1).any() or (together > 1).any():
        return ()
    fix = (
        "A good day cannot be told from a good anchor, so bands are wide wherever anchors are compared. Pull "
        "two anchors or more on each visit, one of them the same every time."
    )
    found = "no two anchors were pulled on one visit"
    return (Finding("doubt", "trials.csv", None, "visit", found, "two anchors or more on a visit", fix),)


def _as_doubt(pull: PullToCheck) -> Finding:
    """Return a pull to look at again as a doubt, loads in newtons."""
    rows = f"{'trial' if len(pull.trials) == 1 else 'trials'} {', '.join(pull.trials[:_LISTED_VISITS])}"
    more = len(pull.trials) - _LISTED_VISITS
    rows += f" and {more} more" if more > 0 else ""
    found = f"{rows}, {pull.anchor} in {pull.seabed}, {_loads(pull)}: {pull.reason}"
    column = "held" if pull.held_n > 0.0 else "released"
    return Finding("doubt", "trials.csv", None, column, found, _expected(pull), _remedy(pull))


def _loads(pull: PullToCheck) -> str:
    parts = [f"held {significant(pull.held_n)} N"] if pull.held_n > 0.0 else []
    if np.isfinite(pull.released_n):
        parts.append(f"{'let go at' if parts else 'slid at'} {significant(pull.released_n)} N")
    return ", ".join(parts) or "no load"


def _expected(pull: PullToCheck) -> str:
    low, high = pull.expected_low_n, pull.expected_high_n
    if np.isfinite(low) and np.isfinite(high):
        return f"{significant(low)} to {significant(high)} N expected"
    return f"more than {significant(low)} N expected" if np.isfinite(low) else "a pull that holds"


def _remedy(pull: PullToCheck) -> str:
    if pull.held_n > 0.0:
        return "Repeat it, correct the load, its unit or the anchor's name, or keep it if it is right."
    return "Repeat it, correct it, or keep it: if it never dug in, write no in the column set."

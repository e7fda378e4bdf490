"""Pulls to look at again once the log was fitted: repeat, correct or keep them; none is ever dropped."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.doubts.left_out_pulls import left_out_pulls
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import draws_of
from holdcast.campaign.records import NEVER_HELD, PullToCheck, each_told_once
from holdcast.capacity.fitting import Fit
from holdcast.plain_numbers import significant

__all__ = ["pulls_to_check_after_fit"]

FAR_OUT = 0.01
"""Chance of a reading as far out as this or further, below which a pull is listed [1] (a choice: of a hundred
good pulls about one is)."""
UNLIKELY_TO_SLIDE = 0.05
"""Chance of not setting below which a pull that reads as one that slid is listed [1] (a choice)."""
HANGS = 1.25
"""A cell hangs on a pull that moves its capacity by this factor, up or down [1] (a choice)."""
APART = 2.0
"""A visit stands apart whose effect is as likely as not this many times the visits' spread [1] (a choice:
were all known exactly, one visit in twenty would)."""
_LIKELY = 0.5
_RAREST = 1e-4
_ROUGHLY = "only roughly known: the fit leans much on this pull"


def pulls_to_check_after_fit(fit: Fit, before_fit: Sequence[PullToCheck] = ()) -> tuple[PullToCheck, ...]:
    """Return the pulls that a person should look at again, the oddest first.

    Parameters
    ----------
    fit : Fit
    before_fit : sequence of PullToCheck
        What was odd without a fit; told in the same list.

    Returns
    -------
    tuple of PullToCheck
        Single pulls by how far out they lie; then cells that hang on one pull, anchors that never held in a
        seabed, visits that stand apart.  What was expected is the 90% range of such a pull, as
        :func:`holdcast.answers.doubts.left_out_pulls.left_out_pulls` gives it.  Each pull is told once, with
        all its reasons.
    """
    pulls = left_out_pulls(fit)
    log = draws_of(fit).table("trials").loc[[str(label) for label in pulls["trial"].to_numpy()]]
    single = [each for each in before_fit if len(each.trials) == 1 and each.trials[0] in log.index]
    of_several = [each for each in before_fit if each not in single]
    odd = [*_far_out(pulls, log), *(_with_expected(each, pulls) for each in single)]
    odd.sort(key=lambda each: float(pulls["tail"].sel(trial=each.trials[0])))
    hanging, never_held = _cells_that_hang(pulls, log), _never_held(fit, log)
    return each_told_once([*odd, *hanging, *of_several, *never_held, *_visits_apart(fit, log)])


def _far_out(pulls: xr.Dataset, log: pd.DataFrame) -> list[PullToCheck]:
    """Return pulls far out of what the rest expects, and those whose load says otherwise than `set`."""
    tail, sets = pulls["tail"], pulls["sets"]
    likely_slip = pulls["slid"] & ~pulls["said"] & (1.0 - sets <= UNLIKELY_TO_SLIDE)
    listed = (tail <= FAR_OUT) | likely_slip | pulls["contradicted"]
    odd = pulls.isel(trial=np.flatnonzero(listed.to_numpy()))
    return [_row(label, odd.sel(trial=label), log, _far_reason) for label in odd["trial"].to_numpy()]


def _far_reason(pull: xr.Dataset) -> str:
    if bool(pull["contradicted"]):
        said, reads = ("set", "slid") if bool(pull["slid"]) else ("did not set", "did")
        return f"the log says that it {said}, but its load is that of one that {reads}: check the column set"
    if bool(pull["slid"]):
        share = f"{min(100.0 * float(pull['sets']), 99.0):.0f}%"
        if bool(pull["said"]):
            return f"it did not set (about {share} of such pulls do)"
        return f"it reads as if it had not set (about {share} of such pulls do): say so in the column set"
    side = "more" if bool(pull["above"]) else "less"
    tail = max(float(pull["tail"]), _RAREST)
    return f"far {side} than the rest of the log expects: about 1 pull in {significant(1.0 / tail, 1)}"


def _cells_that_hang(pulls: xr.Dataset, log: pd.DataFrame) -> list[PullToCheck]:
    """Return, of each cell that one pull moves far, the pull that moves it most; the farthest moved first."""
    moved = np.abs(np.log(pulls["cell_factor"].to_numpy()))
    table = pd.DataFrame({"moved": moved, "cell": log["anchor"] + "\n" + log["seabed"]})
    most = table.sort_values("moved", ascending=False, kind="stable").drop_duplicates("cell")
    labels = most.index[most["moved"] >= np.log(HANGS)]
    return [_row(label, pulls.sel(trial=label), log, _hanging_reason) for label in labels]


def _hanging_reason(pull: xr.Dataset) -> str:
    factor = significant(float(pull["cell_factor"]), 2)
    return f"the cell hangs on it: without it the capacity would be {factor} times as much"


def _never_held(fit: Fit, log: pd.DataFrame) -> list[PullToCheck]:
    """Return the cells in which no pull is likelier to have set than not."""
    never = counts(draws_of(fit))["never_set"].to_series()
    rows = []
    for anchor, seabed in never.index[never]:
        own = log[(log["anchor"] == anchor) & (log["seabed"] == seabed)]
        rows.append(_of_rows(own, str(anchor), str(seabed), NEVER_HELD))
    return rows


def _visits_apart(fit: Fit, log: pd.DataFrame) -> list[PullToCheck]:
    """Return the visits whose pulls together lie far from those of other visits."""
    draws, rows = draws_of(fit), []
    effect, spread = draws["visit_effect"], draws["visit_spread"]
    chance = (np.abs(effect) > APART * spread[:, None]).mean(axis=0)
    visit_of = fit.inputs["visit_of"].to_numpy()
    for visit in np.flatnonzero(chance >= _LIKELY):
        own = log[visit_of == visit]
        if own.empty:
            continue
        times = significant(float(np.exp(np.median(effect[:, visit]))), 2)
        names = list(dict.fromkeys(own["anchor"]))
        anchors = names[0] if len(names) == 1 else f"{len(names)} anchors"
        reason = f"this visit stands apart: {times} times what the other visits suggest"
        row = _of_rows(own, str(anchors), str(own["seabed"].iloc[0]), reason)
        rows.append(replace(row, held_n=0.0, released_n=float("inf")))
    return rows


def _of_rows(own: pd.DataFrame, anchor: str, seabed: str, reason: str) -> PullToCheck:
    held, released = float(own["held_n"].max()), float(own["released_n"].min())
    nothing = float("nan")
    return PullToCheck(tuple(map(str, own.index)), anchor, seabed, held, released, nothing, nothing, reason)


def _row(label: str, pull: xr.Dataset, log: pd.DataFrame, reason: Callable[[xr.Dataset], str]) -> PullToCheck:
    """Return the row of one pull; where it could not be left out reliably, the row says so."""
    own = log.loc[[label]]
    words = reason(pull) if bool(pull["trusted"]) else f"{reason(pull)} ({_ROUGHLY})"
    row = _of_rows(own, str(own["anchor"].iloc[0]), str(own["seabed"].iloc[0]), words)
    low, high = _expected(pull)
    return replace(row, expected_low_n=low, expected_high_n=high)


def _with_expected(row: PullToCheck, pulls: xr.Dataset) -> PullToCheck:
    """Return a row from before the fit with what the fit expects of its pull."""
    low, high = _expected(pulls.sel(trial=row.trials[0]))
    return replace(row, expected_low_n=low, expected_high_n=high)


def _expected(pull: xr.Dataset) -> tuple[float, float]:
    return float(pull["expected_low_n"]), float(pull["expected_high_n"])

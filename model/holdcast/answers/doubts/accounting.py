"""Where every row of the log went, and which corrections could be made to the pulls."""

from typing import NamedTuple

import pandas as pd

from holdcast.answers.draws.draws import draws_of
from holdcast.campaign.records import TESTS, used_rows
from holdcast.capacity.fitting import Fit

__all__ = ["Corrections", "RowCounts", "corrections", "excluded_rows", "row_counts"]


class RowCounts(NamedTuple):
    """How many rows the log has, how many of each kind of test count, and how many the tester excluded."""

    rows: int
    used: dict[str, int]
    excluded: int


class Corrections(NamedTuple):
    """How many pulls there are, and how many were brought to the bottom by their rode, or to rest."""

    pulls: int
    on_a_rode: int
    while_dragging: int


def row_counts(fit: Fit) -> RowCounts:
    """Return where every row of the log went."""
    trials = draws_of(fit).table("trials")
    used = {test: len(used_rows(trials, test)) for test in TESTS}
    return RowCounts(len(trials), used, int((trials["status"] == "excluded").sum()))


def corrections(fit: Fit) -> Corrections:
    """Return how many pulls could be corrected for their rode and for the speed at which they were read."""
    inputs = fit.inputs
    dragging = int((inputs["speed"] > 0.0).sum())
    return Corrections(inputs.sizes["trial"], int(inputs["rode_known"].sum()), dragging)


def excluded_rows(fit: Fit) -> pd.DataFrame:
    """Return the rows that the tester excluded: trial and reason."""
    trials = draws_of(fit).table("trials")
    excluded = trials[trials["status"] == "excluded"]
    return pd.DataFrame(
        {"trial": excluded.index.astype(str), "reason": excluded["exclude"].astype(str).to_numpy()}
    )

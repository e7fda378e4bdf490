"""A day's plan as plain data: which anchor in which seabed, how many pulls, in what order."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import xarray as xr

from holdcast.answers.draws.provenance import about

__all__ = ["AIMS", "PLAN_COLUMNS", "Aim", "Plan", "PlannedTests"]

type Aim = str
"""What the day is for, one of `AIMS`."""
AIMS: Mapping[Aim, str] = {
    "cells": "width of the bands of capacity",
    "ranking": "pairs of anchors in the wrong order",
    "features": "width of the bands of what a feature does",
}
PLAN_COLUMNS = {
    "order": ("1", "place in the order of travel"),
    "seabed": ("", "seabed"),
    "anchor": ("", "anchor"),
    "pulls": ("1", "pulls to make"),
    "hours": ("h", "travel with the first test of a visit, setting up and pulls"),
    "narrows": ("1", "share of what the day is for that this test is expected to take away"),
    "because": ("", "why it is worth its hours"),
}
"""Columns of plan.csv with their unit and meaning."""

_OF_THE_DAY = (
    *("aim", "hours_total", "hours_given", "before", "after", "narrows", "counted", "limit_n"),
    *("apart_before", "apart_after"),
)


@dataclass(frozen=True)
class PlannedTests:
    """The pulls of one anchor on one visit.

    Attributes
    ----------
    order : place in the order of travel, from 1.
    seabed, anchor : labels of the campaign.
    pulls : how many to make.
    hours : setting up and pulls; the first test of a visit counts the travel too [h].
    narrows : share of what is in doubt now that it is expected to take away [1]; the rows add up.
    because : why, in one sentence.
    """

    order: int
    seabed: str
    anchor: str
    pulls: int
    hours: float
    narrows: float
    because: str


@dataclass(frozen=True)
class Plan:
    """One day's tests in order of travel.

    Attributes
    ----------
    rows : the tests.
    aim : what the day is for, one of `AIMS`.
    hours_total, hours_given : hours that the tests take, and that there are [h].
    before, after : what is in doubt now and is expected to be after the day: the mean width of the bands that
        count on the log scale [1], or the expected number of pairs in the wrong order.
    counted : how many bands or pairs count.
    limit_n : highest load that the log knows, at which the boat is taken to give up [N].
    apart_before, apart_after : how many pairs are told apart now, and are expected to be after the day; 0
        where the day is not for a ranking.
    """

    rows: tuple[PlannedTests, ...]
    aim: Aim
    hours_total: float
    hours_given: float
    before: float
    after: float
    counted: int
    limit_n: float
    apart_before: float = 0.0
    apart_after: float = 0.0

    @property
    def narrows(self) -> float:
        """Share of what is in doubt now that the whole day is expected to take away [1]."""
        return 1.0 - self.after / self.before if self.before > 0.0 else 0.0

    def to_dataset(self) -> xr.Dataset:
        """Return the rows along dim ``order``; its ``to_dataframe()`` is the table of plan.csv."""
        columns = {
            name: ("order", np.array([getattr(row, name) for row in self.rows]), about(*words))
            for name, words in PLAN_COLUMNS.items()
            if name != "order"
        }
        coords = {"order": np.array([row.order for row in self.rows], dtype=int)}
        attributes = {name: getattr(self, name) for name in _OF_THE_DAY}
        return xr.Dataset(columns, coords, attributes)

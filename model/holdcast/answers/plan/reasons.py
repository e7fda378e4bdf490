"""Why a test is worth its hours, in one sentence from the log's counts and the draws."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from holdcast.answers.draws.counts import AT_LEAST, AT_MOST, counts
from holdcast.answers.draws.draws import Draws
from holdcast.answers.features.pairs import Pair
from holdcast.answers.plan.knowledge import Knowledge
from holdcast.answers.plan.open_questions import Doubts
from holdcast.answers.plan.planned import Aim
from holdcast.answers.rank.rank import SURE

__all__ = ["LIKE", "Grounds", "grounds_of", "reason"]

LIKE = 0.5
"""Two cells are alike when their log capacities correlate at least so much over the draws: then a quarter of
the variance of one goes with the other (a choice)."""
_WORDS = (
    *("no", "one", "two", "three", "four", "five", "six"),
    *("seven", "eight", "nine", "ten", "eleven", "twelve"),
)


@dataclass(frozen=True)
class Grounds:
    """What reasons are made of.

    Attributes
    ----------
    counts : Dataset, dims (anchor, seabed), see :func:`holdcast.answers.draws.counts.counts`.
    likeness : DataArray of bool, dims (cell, other), whether two cells are alike.
    in_doubt : mapping of (anchor, seabed) to the number of anchors it is not told apart from there.
    pairs : configurations that differ by one feature.
    aim : what the day is for.
    """

    counts: xr.Dataset
    likeness: np.ndarray
    in_doubt: dict[tuple[str, str], int]
    pairs: Sequence[Pair]
    aim: Aim


def grounds_of(
    draws: Draws, knowledge: Knowledge, doubts: Doubts, pairs: Sequence[Pair], aim: Aim
) -> Grounds:
    """Return what reasons are made of."""
    spread = np.sqrt(np.maximum(np.diag(knowledge.capacity), np.finfo(float).tiny))
    likeness = knowledge.capacity / np.outer(spread, spread) >= LIKE
    in_doubt: dict[tuple[str, str], int] = {}
    if doubts.pairs is not None:
        # An order is in doubt where either anchor holds more in fewer draws than make two told apart.
        open_pairs = doubts.pairs[:, doubts.chance_wrong > 1.0 - SURE]
        for place in open_pairs.ravel().tolist():
            name = doubts.names[place]
            in_doubt[name] = in_doubt.get(name, 0) + 1
    return Grounds(counts(draws), likeness, in_doubt, pairs, aim)


def reason(grounds: Grounds, anchor: str, seabed: str, planned: Sequence[tuple[str, str]]) -> str:
    """Return why an anchor is worth testing in a seabed.

    Parameters
    ----------
    grounds : Grounds
    anchor, seabed : str
    planned : sequence of (anchor, seabed)
        All tests of the day.
    """
    if pair := _pair_there(grounds, anchor, seabed, planned):
        feature = pair.feature.replace("_", " ")
        partner = pair.without if anchor == pair.with_it else pair.with_it
        word = "with" if anchor == pair.with_it else "without"
        pair_text = f"{word} the {feature}, beside {partner} on one visit: a pair"
        if grounds.aim == "features":
            return pair_text
    here = grounds.counts.sel(anchor=anchor, seabed=seabed)
    so_far = _so_far(here)
    if grounds.aim == "ranking" and (others := grounds.in_doubt.get((anchor, seabed), 0)):
        return f"{so_far}, and not told apart from {_number(others)} {_plural('other', others)} here"
    return f"{so_far}{_likeness(grounds, anchor, seabed, planned)}"


def _pair_there(
    grounds: Grounds, anchor: str, seabed: str, planned: Sequence[tuple[str, str]]
) -> Pair | None:
    for pair in grounds.pairs:
        both = (pair.with_it, pair.without)
        if anchor in both and all((each, seabed) in planned for each in both):
            return pair
    return None


def _so_far(here: xr.Dataset) -> str:
    pulls, visits = int(here["pulls"]), int(here["visits"])
    if not pulls:
        return "untested"
    number = f"{_number(pulls)} {_plural('pull', pulls)} so far"
    bounded = str(here["bounded"].item())
    if bool(here["never_set"]):
        return f"{number}, and it {'did not dig' if pulls == 1 else 'never dug'} in"
    if bounded == AT_LEAST:
        return f"{number}, and it {'did not' if pulls == 1 else 'never'} let go"
    if bounded == AT_MOST:
        return f"{number}, and it {'did not hold' if pulls == 1 else 'never held'}"
    if visits == 1:
        return number if pulls == 1 else f"{number}, all of one visit"
    return f"{number}, on {_number(visits)} visits"


def _likeness(grounds: Grounds, anchor: str, seabed: str, planned: Sequence[tuple[str, str]]) -> str:
    """Return what else the test tells of: untested cells like it first, then any like it."""
    cells = grounds.counts
    anchors, seabeds = (cells[dim].to_numpy().tolist() for dim in ("anchor", "seabed"))
    own = anchors.index(anchor) * len(seabeds) + seabeds.index(seabed)
    tested = cells["tested"].transpose("anchor", "seabed").to_numpy().ravel()
    like_cells = grounds.likeness[own].copy()
    like_cells[own] = False
    for name, place in planned:
        like_cells[anchors.index(name) * len(seabeds) + seabeds.index(place)] = False
    untested, others = int((like_cells & ~tested).sum()), int(like_cells.sum())
    if untested and not tested[own]:
        verb = "is" if untested == 1 else "are"
        return f", and like {_number(untested)} {_plural('other', untested)} that {verb}"
    if untested:
        return f"; it also tells of {_number(untested)} untested {_plural('cell', untested)}"
    if others:
        return f"; it also tells of {_number(others)} other {_plural('cell', others)}"
    return "; its band is wide" if tested[own] else ", and like no other: only a pull will tell"


def _number(value: int) -> str:
    return _WORDS[value] if value < len(_WORDS) else str(value)


def _plural(noun: str, number: int) -> str:
    return noun if number == 1 else f"{noun}s"

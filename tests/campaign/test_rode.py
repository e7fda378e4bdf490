"""How a rode led, from what was written of it, and the doubts about what it hides."""

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd
import pytest

from holdcast.campaign import Campaign
from holdcast.campaign.doubts.lengths import length_doubts
from holdcast.campaign.doubts.rode import rode_doubts
from holdcast.campaign.rode_geometry import rode_geometry

HALF_TOLD = "with a scope or length of rode"
MOSTLY_RODE = "of whose reading the rode's weight and friction take more than a third"


@pytest.fixture
def row(read, tables) -> Callable[..., Campaign]:
    """Read the small campaign with cells changed in its first pull."""
    return lambda **cells: read(trials=tables.changed(tables.trials, 0, **cells))


def geometry(campaign: Campaign) -> pd.Series:
    return rode_geometry(campaign, campaign.trials).iloc[0]


@pytest.mark.parametrize(
    "chain",
    [
        {"chain_length_m": "0"},
        {"chain_kg_per_m": "0"},
        {"chain_kg_per_m": "0", "chain_length_m": "0"},
        {"chain_kg_per_m": "1.4", "chain_length_m": "0"},
        {"chain_kg_per_m": "0", "chain_length_m": "8"},
    ],
)
def test_a_chain_of_no_length_or_no_weight_is_no_chain(row, chain: Mapping[str, str]) -> None:
    led = geometry(row(scope="4", depth_m="5", bow_height_m="1", **chain))
    assert led["known"]
    assert (led["chain_length_m"], led["length_m"]) == (0.0, 24.0)


def test_a_named_rode_and_the_boat_fill_what_the_row_leaves_blank(read, tables) -> None:
    campaign = read(
        trials=tables.changed(tables.trials, 0, scope="4", depth_m="5", rode="light"),
        rodes="rode,chain_kg_per_m,chain_length_m\nlight,1.2,6\n",
        settings="[boat]\nbow_height_m = 1.0\n",
    )
    led = geometry(campaign)
    assert [led[name] for name in ("bow_m", "length_m", "chain_kg_per_m", "chain_length_m")] == [
        1.0, 24.0, 1.2, 6.0,
    ]  # fmt: skip
    assert led["known"]


@pytest.mark.parametrize(
    ("cells", "lacking"),
    [
        ({"scope": "4"}, "no depth or no chain"),
        ({"scope": "4", "depth_m": "5"}, "no chain"),
        ({"scope": "4", "chain_length_m": "0"}, "no depth"),
        ({"scope": "4", "chain_kg_per_m": "1.4", "chain_length_m": "8"}, "no depth"),
    ],
)
def test_a_rode_half_told_is_doubted_once(row, cells: Mapping[str, str], lacking: str) -> None:
    campaign = row(**cells)
    assert not geometry(campaign)["known"]
    (doubt,) = rode_doubts(campaign)
    assert doubt.found == f"1 pull {HALF_TOLD}, but {lacking} (t1)"
    assert "chain_length_m" in doubt.fix


@pytest.mark.parametrize(
    "cells",
    [
        {},
        {"scope": "4", "exclude": "fouled"},
        {"depth_m": "5"},
        {"scope": "4", "depth_m": "5", "chain_length_m": "0"},
        {"scope": "4", "depth_m": "5", "chain_kg_per_m": "1.4", "chain_length_m": "8"},
    ],
)
def test_nothing_told_of_a_rode_or_all_of_it_is_no_doubt(row, cells: Mapping[str, str]) -> None:
    assert rode_doubts(row(**cells)) == ()


HEAVY = {"scope": "8", "depth_m": "5", "chain_kg_per_m": "1.4", "chain_length_m": "40"}


@pytest.mark.parametrize(
    ("cells", "doubted"),
    [
        ({"held_kn": "0.24", "released_kn": "0.26"}, True),
        ({"held_kn": "0.26", "released_kn": "", "stopped_by": "boat_limit"}, True),
        ({"held_kn": "0.24", "released_kn": "0.26", "load_at": "anchor"}, False),
        ({"held_kn": "1.5", "released_kn": "2"}, False),
    ],
)
def test_a_reading_that_is_mostly_rode_is_doubted(row, cells: Mapping[str, str], doubted: bool) -> None:
    found = [doubt.found for doubt in rode_doubts(row(**HEAVY, **cells))]
    assert found == ([f"1 pull {MOSTLY_RODE} (t1)"] if doubted else [])


def test_many_pulls_are_counted_and_a_few_named(read, tables) -> None:
    (first, *_), many = tables.trials, range(9)
    rows = [{**first, "trial": f"p{at}", "visit": f"v{at}", "scope": "5"} for at in many]
    (doubt,) = rode_doubts(read(trials=rows))
    assert doubt.found.startswith("9 pulls ")
    assert doubt.found.endswith("(p0, p1, p2, p3, p4, p5 and 3 more)")
    assert np.isnan(rode_geometry(read(trials=rows), read(trials=rows).trials)["depth_m"]).all()


def in_depths(read, tables, depths: list[str], lengths: list[str], column: str = "depth_m") -> Campaign:
    (first, *_) = tables.trials
    rows = [
        {**first, "trial": f"p{at}", "visit": f"v{at}", column: depth, "rode_length_m": length,
         "bow_height_m": "1"}
        for at, (depth, length) in enumerate(zip(depths, lengths, strict=True))
    ]  # fmt: skip
    return read(trials=rows)


def test_depths_in_feet_under_metres_are_doubted_once(read, tables) -> None:
    """Five metres are 16.4 feet: a rode of 30 m is 1.7 times that, and 5 times what was meant."""
    (doubt,) = length_doubts(in_depths(read, tables, ["16.4"] * 4 + ["5"], ["30"] * 5))
    assert doubt.found == "4 tests with a rode of 1.7 times depth and bow height"
    assert "it would be 5 times" in doubt.fix and "feet" in doubt.fix


def test_depths_in_metres_under_feet_are_doubted_too(read, tables) -> None:
    (doubt,) = length_doubts(in_depths(read, tables, ["5", "6", "5"], ["36", "42", "40"], "depth_ft"))
    assert doubt.found == "3 tests with a rode of 14 to 16 times depth and bow height"
    assert "it would be 6 to 6.7 times" in doubt.fix


@pytest.mark.parametrize(
    ("depths", "lengths"),
    [
        (["5"] * 4, ["30"] * 4),  # usual
        (["16.4"] * 2, ["30"] * 2),  # too few to tell a slip from short scopes
        (["16.4", "5", "5", "5", "5", "16.4", "16.4"], ["30"] * 7),  # most are usual
    ],
)
def test_usual_scopes_and_a_few_odd_ones_are_no_doubt(read, tables, depths, lengths) -> None:
    assert length_doubts(in_depths(read, tables, depths, lengths)) == ()

"""A boat against the printed load table (ABYC H-40), and chances against counting."""

import numpy as np
import pandas as pd
import pytest

from holdcast.answers.boat.boat import boat, lightest, wind_load_n, wind_of_load_mps
from holdcast.commands.boat import boat as boat_command
from holdcast.commands.shared.common import InputError
from holdcast.show.views.boat import boat_lines, boat_sentences, boat_sheet

FOOT, KNOT, POUND = 0.3048, 1852.0 / 3600.0, 4.4482216152605


def test_winds_and_loads_are_those_of_the_printed_table(world_fit) -> None:
    """ABYC H-40, 35 ft: 225, 900, 1800 lbf at 15, 30, 42 kn, 3600 by the trade's 60 kn row (read)."""
    answer = boat(world_fit, length_m=35 * FOOT)
    np.testing.assert_allclose(answer["load_n"] / POUND, [225, 900, 1800, 3600], rtol=1e-9)
    np.testing.assert_allclose(answer["wind_mps"] / KNOT, [15, 30, 42, 60])


def test_five_kilonewtons_on_25_feet_is_storm_force() -> None:
    """Between the table's 42 and 60 kn columns, 980 and 1960 lbf (read)."""
    wind = float(wind_of_load_mps(np.array([5000.0]), length_m=25 * FOOT)[0]) / KNOT
    assert 42.0 < wind < 60.0


@pytest.mark.parametrize("size", [{"length_m": 10.0}, {"frontal_area_m2": 14.0}])
def test_wind_of_a_load_is_the_inverse(size) -> None:
    winds = np.array([2.0, 9.0, 17.0, 40.0])
    np.testing.assert_allclose(wind_of_load_mps(wind_load_n(winds, **size), **size), winds, rtol=1e-9)


def test_chances_fall_with_wind_and_agree_with_the_margin(world_fit) -> None:
    answer = boat(world_fit, length_m=9.0, chance=0.8)
    assert (answer["exceeds"].diff("wind_mps") <= 0).all()
    again = boat(world_fit, length_m=9.0, wind_mps=[float(answer["holds_wind_mps"][0, 0])], chance=0.8)
    # At the wind held the chance is the one asked for, and the margin nothing.
    assert float(again["exceeds"][0, 0, 0]) == pytest.approx(0.8, abs=2e-3)
    assert float(again["margin_mps"][0, 0, 0]) == pytest.approx(0.0, abs=1e-9)


def test_scope_takes_from_the_chance(world_fit) -> None:
    along, turned = (boat(world_fit, length_m=9.0, scope=scope) for scope in (None, 4.0))
    assert (turned["holds_wind_mps"] < along["holds_wind_mps"]).all()


def test_lightest_is_the_lightest_that_holds_and_heavier_for_more(world_fit) -> None:
    chance = 0.3
    answer = lightest(world_fit, load_n=900.0, chance=chance)
    assert (lightest(world_fit, load_n=1800.0, chance=chance)["scaled_kg"] > answer["scaled_kg"]).all()
    exceeds = boat(world_fit, frontal_area_m2=1.0, wind_mps=[np.sqrt(900.0 / (0.5 * 1.225 * 0.7))])["exceeds"]
    family = exceeds.sel(anchor=["A-06", "A-10-bare", "A-10"], seabed="sand").isel(wind_mps=0)
    holds = [str(name) for name in family["anchor"].to_numpy()[family.to_numpy() >= chance]]
    assert answer["tested_anchor"].sel(design="A", seabed="sand").item() == (holds[0] if holds else "")


def test_cells_that_nobody_pulled_are_starred_hollow_and_told(world_fit) -> None:
    answer = boat(world_fit, length_m=9.0)
    untested = ~answer["tested"]
    assert untested.sum() == 1 and bool(untested.sel(anchor="B-12", seabed="sand"))
    lines = boat_lines(answer, 0, "si")
    assert [line.split()[:2] for line in lines if "*" in line] == [["sand", "B-12*"]]
    assert boat_sentences(answer, 0, "si")[0].startswith("*: nobody pulled")
    marks = [m for panel in boat_sheet(answer, 0, "si").panels for row in panel.marks for m in row]
    assert [mark.filled for mark in marks].count(False) == 1
    pulled = boat_sentences(boat(world_fit, length_m=9.0, seabeds=["mud"]), 0, "si")
    assert not any("nobody pulled" in sentence for sentence in pulled)


@pytest.mark.parametrize(
    ("asked", "beyond"),
    [
        ({"length_m": 9.0}, False),
        ({"length_m": 25.0}, True),
        ({"length_m": 9.0, "wind_mps": [5.0 * KNOT]}, True),
        ({"frontal_area_m2": 12.0, "wind_mps": [5.0 * KNOT]}, False),
    ],
)
def test_loads_beyond_the_printed_table_are_told(world_fit, asked, beyond) -> None:
    said = " ".join(boat_sentences(boat(world_fit, **asked), 0, "si"))
    assert ("15 to 60 kn: extrapolated" in said) == beyond


def test_the_picture_tells_load_boat_and_rode(world_fit) -> None:
    along, turned = (boat(world_fit, length_m=9.144, scope=scope) for scope in (None, 5.0))
    (said,) = boat_sheet(along, 1, "us").reading
    assert "the load, 700 lbf on a boat 30 ft long. Numbers on the right: chance that one new pull" in said
    assert "one new pull along the bottom exceeds it" in said
    assert "at scope 5 on a rode pulled straight exceeds it" in boat_sheet(turned, 1, "si").reading[0]
    beyond = "No pull lifted a known rode: what a steep pull costs is the trade's usual figure."
    for answer, told in ((along, False), (turned, True)):
        assert (beyond in "\n".join(boat_sentences(answer, 1, "si"))) == told


def test_wrong_boats_raise(world_fit) -> None:
    with pytest.raises(ValueError, match="either the boat's length or its frontal area"):
        boat(world_fit)
    with pytest.raises(ValueError, match="either the boat's length or its frontal area"):
        boat(world_fit, length_m=9.0, frontal_area_m2=9.0)
    with pytest.raises(ValueError, match="the chance must be between 0 and 1, got 95"):
        boat(world_fit, length_m=9.0, chance=95.0)
    with pytest.raises(KeyError, match="unknown seabed: 'mudd'"):
        boat(world_fit, length_m=9.0, seabeds=["mudd"])


def test_command_says_loads_chances_and_cautions(results, capsys, read_json) -> None:
    boat_command(results, length_ft=35.0, beaufort=7, seabed=["mud"])
    said = " ".join(capsys.readouterr().out.split())
    assert "30.1 kn 4.03 kN" in said and "ABYC H-40" in said and "not a guarantee" in said
    assert "100%" not in said and " 0%" not in said
    assert not (results / "figures" / "boat.svg").exists()
    boat_command(results, frontal_area_m2=12.0, wind_kn=25.0, picture=True, as_json=True)
    told = read_json()
    assert {"cells", "capacity", "lightest"} <= set(told)
    keys = [(row["anchor"], row["seabed"], row["wind_mps"]) for row in told["cells"]]
    assert len(set(keys)) == len(keys) and {row["tested"] for row in told["cells"]} == {True, False}
    assert (results / "figures" / "boat.svg").is_file()
    for wrong in ({}, {"length_m": 9.0, "length_ft": 30.0}, {"length_m": 9.0, "wind_kn": 0.0}):
        with pytest.raises(InputError, match=r"give one of --length-m|above 0 kn"):
            boat_command(results, **wrong)


def test_the_short_screen_has_those_that_pass_and_the_files_have_all(opened, world_fit, capsys) -> None:
    boat_command(opened, length_m=6.0, wind_kn=15.0, chance=0.6)
    short = capsys.readouterr().out
    answer = boat(world_fit, length_m=6.0, wind_mps=[15.0 * KNOT], chance=0.6)
    passing = (answer["exceeds"].isel(wind_mps=0) >= 0.6).any("seabed")
    named = {line.split()[0] for line in short.split("\n\n")[0].splitlines()[1:]}
    assert {str(name) for name in answer["anchor"].to_numpy()[passing.to_numpy()]} == named - {"anchor"}
    assert f"{int(passing.sum())} of {answer.sizes['anchor']} anchors hold at 15 kn" in short
    assert len(short.splitlines()) <= 40
    table = pd.read_csv(opened / "boat.csv")
    assert len(table) == answer.sizes["anchor"] * answer.sizes["seabed"] * table["wind_mps"].nunique()
    here = table[np.isclose(table["wind_mps"], 15.0 * KNOT)].set_index(["anchor", "seabed"])
    for (anchor, seabed), row in here.iterrows():
        cell = answer["exceeds"].sel(anchor=anchor, seabed=seabed).item()
        assert row["exceeds"] == pytest.approx(cell, abs=1e-5)
    assert set(pd.read_csv(opened / "boat_lightest.csv")["design"]) == {"A", "B", "C"}
    boat_command(opened, length_m=30.0, wind_kn=60.0)
    assert "No anchor holds at 60 kn" in capsys.readouterr().out
    boat_command(opened, length_m=6.0, everything=True)
    assert "Lightest anchor of each design" in capsys.readouterr().out

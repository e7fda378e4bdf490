"""Pulls to look at again: what is listed, what was expected, and that nothing suggests dropping a pull."""

import math
from dataclasses import replace

import pytest

from holdcast.campaign.doubts import pulls_to_check as doubts_of_pulls
from holdcast.campaign.doubts.pulls_to_check import pull_doubts, pulls_to_check
from holdcast.campaign.records import REPEAT_CORRECT_OR_KEEP, gathered_by_cell

DAY = "2024-05-01"


def pull(trial: str, held: str, released: str, **cells: str) -> dict[str, str]:
    shared = {"anchor": "scoop 15", "seabed": "mud", "test": "pull", "date": DAY}
    return {"trial": trial, **shared, "held_kn": held, "released_kn": released, **cells}


def listed(campaign):
    return pulls_to_check(campaign.trials, campaign.anchors)


def test_a_pull_ten_times_its_twins_is_listed_with_what_they_held(read):
    trials = [pull("a", "1.5", "2"), pull("b", "1.4", "1.6"), pull("c", "15", "20"), pull("d", "1.2", "")]
    (found,) = listed(read(trials=trials))
    assert (found.trials, found.anchor, found.seabed) == (("c",), "scoop 15", "mud")
    assert (found.held_n, found.released_n) == (15e3, 20e3)
    assert (found.expected_low_n, found.expected_high_n) == (1200.0, 2000.0)
    assert found.advice == REPEAT_CORRECT_OR_KEEP == "repeat, correct or keep"
    assert found.reason == "10 times more than its twins that visit (a, b, d)"


@pytest.mark.parametrize("far", ["0.15", "15"])
def test_of_two_pulls_the_one_unlike_other_days_is_named(read, far):
    other_day = pull("a", "1.5", "2", date="2024-05-02")
    twins = [pull("b", far, far), pull("c", "1.4", "1.6")]
    (found,) = listed(read(trials=[other_day, *twins]))
    assert found.trials == ("b",)
    assert ("more" if far == "15" else "less") in found.reason
    # Alone, nobody can tell: the later row is named and its twin beside it.
    (found,) = [each for each in listed(read(trials=twins)) if "twin" in each.reason]
    assert found.trials == ("c",) and "(b)" in found.reason


def test_scatter_by_half_other_days_and_excluded_pulls_are_not_listed(read):
    trials = [pull("a", "1", "1.5"), pull("b", "2", "3"), pull("c", "4", "4.5"),
              pull("d", "20", "30", date="2024-05-02"), pull("e", "30", "40", exclude="fouled"),
              pull("f", "20", "", test="veer", veer_deg="90")]  # fmt: skip
    assert listed(read(trials=trials)) == ()


def test_a_load_below_the_anchors_weight(read):
    (found,) = listed(read(trials=[pull("a", "0.05", "0.14"), pull("b", "1", "", date="2024-05-02")]))
    assert found.expected_low_n == pytest.approx(15 * 9.80665)
    assert math.isnan(found.expected_high_n)
    assert found.reason == "it let go below the anchor's own weight"
    (doubt,) = pull_doubts(read(trials=[pull("a", "0.05", "0.14")]))
    assert doubt.found == (
        "trial a, scoop 15 in mud, held 50 N, let go at 140 N: it let go below the anchor's own weight"
    )
    assert doubt.allowed == "more than 147 N expected"


def test_an_anchor_that_never_held_in_a_seabed_is_one_entry_for_the_cell(read):
    trials = [pull("a", "", "0.2"), pull("b", "", "0.3"), pull("c", "", "", set="no"), pull("d", "", "0.2"),
              pull("e", "1", "2", seabed="beach")]  # fmt: skip
    campaign = read(trials=trials)
    (found,) = listed(campaign)
    assert (found.trials, found.seabed, found.held_n) == (("a", "b", "c", "d"), "mud", 0.0)
    (doubt,) = pull_doubts(campaign)
    assert doubt.found == "trials a, b, c and 1 more, scoop 15 in mud, slid at 200 N: it never held there"
    assert "write no in the column set" in doubt.fix
    trials[2] |= {"set": "yes", "held_kn": "1"}
    assert [each for each in listed(read(trials=trials)) if each.reason == "it never held there"] == []


def test_many_odd_pulls_of_one_cell_are_one_row_to_read_the_oddest_first(read):
    """A cell of three odd pulls is one row; two stay two; all stand in the list that files are made of."""
    ten = [pull(f"good {n}", "1.5", "2") for n in range(9)]
    odd = [pull("a", "15", "20"), pull("b", "150", "200"), pull("c", "20", "30")]
    two = [pull(f"d{n}", held, str(2 * float(held)), anchor="plough 20")
           for n, held in enumerate(["1", "1.1", "1", "1.2", "1", "9", "50"])]  # fmt: skip
    campaign = read(trials=[*two, *ten, *odd])
    singles = listed(campaign)
    assert [each.trials[0] for each in singles] == ["b", "d6", "c", "a", "d5"]
    rows = gathered_by_cell(singles)
    assert [each.trials for each in rows] == [("b", "c", "a"), ("d6",), ("d5",)]
    assert rows[0].held_n == 150e3
    assert rows[0].reason.endswith("(the oddest of 3 odd pulls of this cell)")
    assert [doubt.found.split(",")[0] for doubt in pull_doubts(campaign)] == [
        "trials b",
        "trial d6",
        "trial d5",
    ]


def test_a_cell_that_never_held_stands_for_its_pulls(read):
    campaign = read(trials=[pull("a", "", "0.2"), pull("b", "", "0.3"), pull("e", "1", "2", seabed="beach")])
    (never,) = listed(campaign)
    single = replace(never, trials=("b",), reason="it reads as if it had not set")
    other = replace(single, trials=("e",), seabed="beach")
    assert gathered_by_cell([single, other, never]) == (never, other)
    visit = replace(never, reason="this visit stands apart")
    assert gathered_by_cell([single, visit]) == (single, visit)


def test_a_check_tells_a_dozen_and_how_many_more_there_are(read, monkeypatch):
    campaign = read(trials=[pull("a", "1.5", "2"), pull("b", "15", "20"), pull("c", "1.5", "2")])
    (odd,) = listed(campaign)
    many = tuple(replace(odd, trials=(f"{at}",), anchor=f"A{at}") for at in range(20))
    monkeypatch.setattr(doubts_of_pulls, "pulls_to_check", lambda *_: many)
    told = doubts_of_pulls.pull_findings(campaign.trials, campaign.anchors)
    assert [each.found.split(",")[0] for each in told[:12]] == [f"trial {at}" for at in range(12)]
    assert len(told) == 13 and told[-1].found == "8 more pulls or cells like these"
    assert "pulls_to_check.csv" in told[-1].fix


def test_no_entry_suggests_dropping_a_pull(read):
    trials = [pull("a", "1.5", "2"), pull("b", "15", "20"), pull("c", "", "0.2", seabed="beach"),
              pull("d", "0.05", "0.1", anchor="plough 20")]  # fmt: skip
    doubts = pull_doubts(read(trials=trials))
    assert len(doubts) >= 3
    for doubt in doubts:
        assert not any(word in doubt.fix.casefold() for word in ("exclude", "drop", "delete", "remove"))
        assert "epeat" in doubt.fix and "correct" in doubt.fix and "keep" in doubt.fix


def test_one_anchor_a_day_everywhere_is_one_doubt_that_says_what_it_costs(read):
    trials = [pull("a", "1.5", "2"), pull("b", "1.5", "2", anchor="plough 20", date="2024-05-02"),
              pull("c", "1.5", "2", seabed="beach", date="2024-05-03")]  # fmt: skip
    (doubt,) = pull_doubts(read(trials=trials))
    assert doubt.found == "no two anchors were pulled on one visit"
    assert "A good day cannot be told from a good anchor" in doubt.fix
    trials[1]["date"] = DAY
    assert pull_doubts(read(trials=trials)) == ()
    trials[1] |= {"date": "2024-05-02", "seabed": "beach", "anchor": "scoop 15"}
    assert pull_doubts(read(trials=trials)) == ()  # one anchor alone: nothing to compare

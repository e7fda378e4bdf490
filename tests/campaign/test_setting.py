"""The column set of trials.csv: whether a pull's anchor dug in at all."""

import numpy as np
import pytest

from holdcast.campaign.records import pulls_with_load, used_rows


def pull(number: int, **cells: str) -> dict[str, str]:
    shared = {"trial": f"t{number}", "anchor": "scoop 15", "seabed": "mud", "test": "pull"}
    return {**shared, "date": "2024-05-01", **cells}


@pytest.fixture
def log(tables) -> list[dict[str, str]]:
    return [
        *tables.trials,
        pull(3, set="no", released_kn="0.2"),
        pull(4, set="No"),
        pull(5, set="no", stopped_by="anchor"),
        pull(6, set="yes", held_kn="1.5", released_kn="1.8"),
        pull(7, test="reset", attempts="3", successes="1"),
        pull(8, test="veer", veer_deg="90", held_kn="1"),
        pull(9, held_kn="1", exclude="fouled"),
    ]


def test_set_is_read_as_said_and_a_pull_that_never_dug_in_needs_no_load(read, log):
    campaign = read(trials=log)
    assert campaign.doubts == ()
    trials = campaign.trials
    assert trials["set"].tolist() == ["", "", "no", "no", "no", "yes", "", "", ""]
    assert trials.loc["t3", ["held_n", "released_n", "stopped_by"]].tolist() == [0.0, 200.0, "anchor"]
    assert trials.loc["t4", ["held_n", "released_n"]].tolist() == [0.0, np.inf]
    assert read(trials=[*log, pull(10, held_kn="1", released_kn="2")]).trials["set"].tolist()[-1] == ""


def test_rows_of_one_kind_of_test_and_pulls_with_a_load(read, log):
    trials = read(trials=log).trials
    assert list(used_rows(trials, "pull").index) == ["t1", "t2", "t3", "t4", "t5", "t6"]
    assert list(used_rows(trials, "reset").index) == ["t7"]
    assert list(used_rows(trials, "veer").index) == ["t8"]
    assert list(pulls_with_load(trials).index) == ["t1", "t2", "t3", "t6"]
    with pytest.raises(ValueError, match="unknown kind of test pul; known: pull, reset, veer"):
        used_rows(trials, "pul")


def test_an_excluded_row_that_never_set_is_read_without_a_word(read, tables):
    campaign = read(trials=[*tables.trials, pull(3, set="no", held_kn="1", exclude="fouled")])
    assert campaign.doubts == ()


def test_set_on_a_reset_or_a_veer_is_a_doubt(read, log):
    log[6]["set"], log[7]["set"] = "no", "yes"
    doubts = read(trials=log).doubts
    assert [(doubt.row, doubt.column, doubt.found) for doubt in doubts] == [
        (8, "set", "'no'"),
        (9, "set", "'yes'"),
    ]
    assert "belongs to a pull and is not used here" in doubts[0].fix

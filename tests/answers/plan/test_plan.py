"""The plan as plain data: order of travel, hours, reasons; what cannot be planned is said."""

import numpy as np
import pytest
from day_fits import day_fit

from holdcast.answers.plan.open_questions import Goal
from holdcast.answers.plan.plan import plan
from holdcast.answers.plan.planned import PLAN_COLUMNS
from holdcast.capacity.fitting import Fit

BLANK = float("nan")


@pytest.fixture(scope="module")
def fit() -> Fit:
    return day_fit(6, 3)


def test_rows_stand_in_order_of_travel_and_their_hours_add_up(fit: Fit) -> None:
    made = plan(fit, 9.0)
    assert [row.order for row in made.rows] == list(range(1, len(made.rows) + 1))
    visits = [row.seabed for row in made.rows]
    assert visits == sorted(visits, key=visits.index), "each seabed is visited once"
    assert sum(row.hours for row in made.rows) == pytest.approx(made.hours_total)
    assert made.hours_total <= 9.0 == made.hours_given
    firsts = [at for at, seabed in enumerate(visits) if visits.index(seabed) == at]
    for at, row in enumerate(made.rows):
        assert row.hours == pytest.approx(0.5 * (at in firsts) + 0.5 + 0.25 * row.pulls)
    assert sum(row.narrows for row in made.rows) == pytest.approx(made.narrows)
    worth = [
        sum(row.narrows for row in made.rows if row.seabed == seabed)
        / sum(row.hours for row in made.rows if row.seabed == seabed)
        for seabed in dict.fromkeys(visits)
    ]
    assert worth == sorted(worth, reverse=True), "the visit most worth its hours stands first"


def test_table_has_the_columns_of_plan_csv(fit: Fit) -> None:
    table = plan(fit, 5.0).to_dataset()
    assert ["order", *table.data_vars] == list(PLAN_COLUMNS)
    assert table["hours"].attrs["units"] == "h" and table.attrs["aim"] == "cells"
    assert plan(fit, 5.0) == plan(fit, 5.0), "the same fit gives the same plan"


@pytest.mark.parametrize(
    ("pulls", "sentence"),
    [
        ([(1500.0, np.inf)], "one pull so far, and it did not let go"),
        ([(1500.0, np.inf)] * 3, "three pulls so far, and it never let go"),
        ([(1500.0, 1700.0)] * 2, "two pulls so far, all of one visit"),
        ([], "untested"),
    ],
)
def test_the_reason_says_what_the_log_has_of_the_cell(
    pulls: list[tuple[float, float]], sentence: str
) -> None:
    rows = [("A2", "s1", "v1", 900.0, 1000.0), *(("A0", "s0", "v1", *ends) for ends in pulls)]
    made = plan(day_fit(3, 2, rows=rows), 30.0)
    because = {(row.anchor, row.seabed): row.because for row in made.rows}
    assert because["A0", "s0"].startswith(sentence)


def test_an_untested_cell_names_how_many_are_like_it() -> None:
    fit = day_fit(4, 2, travel_h=[0.1, 50.0])
    values = fit.tree["posterior"]["log_capacity"]
    shared = np.random.default_rng(1).normal(0.0, 0.5, values.shape[:2])
    values[:] = 7.5 + shared[:, :, None, None] + 0.2 * np.random.default_rng(2).normal(size=values.shape)
    row = plan(fit, 1.0, aboard=["A2"]).rows[0]
    assert row.because == "untested, and like five others that are"  # all but A0 and A1 in s0


def test_a_pair_of_configurations_is_pulled_on_one_visit(fit: Fit) -> None:
    made = plan(fit, 4.0, Goal("features", features=["tip_weight"]))
    there = [(row.anchor, row.seabed) for row in made.rows]
    pairs = [(f"A{at}", f"A{at + 1}") for at in (0, 2, 4)]
    assert any(
        (one, place) in there and (other, place) in there for one, other in pairs for _, place in there
    )
    assert any("with the tip weight" in row.because and row.because.endswith("a pair") for row in made.rows)
    assert made.counted == 3


def test_a_ranking_says_how_many_are_in_doubt(fit: Fit) -> None:
    made = plan(fit, 6.0, Goal("ranking", seabeds=["s1"]))
    assert made.counted == 15 and made.after < made.before
    assert made.apart_after > made.apart_before
    assert any("not told apart from" in row.because for row in made.rows)


def test_named_cells_alone_count(fit: Fit) -> None:
    made = plan(fit, 4.0, Goal(anchors=["A4"], seabeds=["s2"]))
    assert made.counted == 1
    assert (made.rows[0].anchor, made.rows[0].seabed) == ("A4", "s2")


@pytest.mark.parametrize("hours", [0.0, -1.0, float("nan"), float("inf"), 1.2])
def test_hours_that_fit_no_test_are_refused(fit: Fit, hours: float) -> None:
    with pytest.raises(ValueError, match=r"hours of a day must be|too few for any test"):
        plan(fit, hours)


def test_too_few_hours_name_the_shortest_test() -> None:
    fit = day_fit(3, 2, travel_h=[2.0, 0.5])
    with pytest.raises(ValueError, match=r"1 h are too few.*in 's1', takes 1.25 h \(travel 0.5, setting up"):
        plan(fit, 1.0)


def test_blank_hours_are_asked_for_all_at_once() -> None:
    fit = day_fit(3, 3, travel_h=[0.5, BLANK, BLANK], pull_h=[0.25, 0.25, BLANK])
    with pytest.raises(ValueError, match="a plan must not guess") as error:
        plan(fit, 8.0)
    text = str(error.value)
    assert "travel_h (travel) is blank for 's1', 's2': --travel-h \"s1=0.5\"" in text
    assert "pull_h (one pull) is blank for 's2'" in text and "setup_h" not in text


def test_hours_given_fill_blanks_and_replace_one_seabeds_own() -> None:
    fit = day_fit(3, 3, travel_h=[0.5, BLANK, BLANK], pull_h=[0.25, 0.25, BLANK])
    given = {"travel_h": {"": 1.0, "s0": 0.1}, "pull_h": {"s2": 0.4}}
    made = plan(fit, 30.0, hours_given=given)
    first = {row.seabed: row for row in reversed(made.rows)}
    assert first["s0"].hours == pytest.approx(0.1 + 0.5 + 0.25 * first["s0"].pulls)
    assert first["s1"].hours == pytest.approx(1.0 + 0.5 + 0.25 * first["s1"].pulls)
    assert first["s2"].hours == pytest.approx(1.0 + 0.5 + 0.4 * first["s2"].pulls)
    assert {row.seabed for row in plan(fit, 8.0, without=["s1", "s2"]).rows} == {"s0"}


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"goal": Goal(anchors=["a1"])}, "the nearest known one to 'a1' is 'A1'"),
        ({"goal": Goal(seabeds=["S1"])}, "nearest known one to 'S1' is 's1'"),
        ({"goal": Goal("features", features=["rollbar"])}, "nearest known one to 'rollbar' is 'roll_bar'"),
        ({"goal": Goal("features", anchors=["A1"])}, "name them with --feature"),
        ({"goal": Goal(features=["roll_bar"])}, "only where the day is for features"),
        ({"goal": Goal("ranking", anchors=["A1"])}, "at least two anchors"),
        ({"goal": Goal("speed")}, "one of cells, ranking, features; got 'speed'"),
        ({"aboard": ["Z"]}, "unknown anchor: 'Z'"),
        ({"without": ["s0", "s1", "s2"]}, "nothing is left to test"),
        ({"without": ["s7"]}, "unknown seabed: 's7'"),
        ({"carry": 0}, "at least one anchor must be carried"),
        ({"hours_given": {"travel_h": {"S0": 1.0}}}, "unknown seabed: 'S0'"),
        (
            {"hours_given": {"pull_h": {"s0": -1.0}}},
            "pull_h must be a number of hours, 0 or more; got -1 for",
        ),
    ],
)
def test_what_cannot_be_planned_is_said(fit: Fit, wrong: dict[str, object], words: str) -> None:
    with pytest.raises((KeyError, ValueError), match=words):
        plan(fit, 8.0, **wrong)


def test_a_log_without_features_has_none_to_plan_for() -> None:
    fit = day_fit(3, 2)
    for group in ("posterior", "constant_data"):
        fit.tree[group] = fit.tree[group].to_dataset().drop_dims("feature")
    with pytest.raises(ValueError, match="no feature"):
        plan(fit, 8.0, Goal("features"))

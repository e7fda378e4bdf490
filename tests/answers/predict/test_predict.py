"""Requests answered: basis, range, scope, independence of other requests, and what is assumed."""

import time

import numpy as np
import pandas as pd
import pytest

from holdcast.answers.boat.boat import boat
from holdcast.answers.draws.bands import BANDS
from holdcast.answers.draws.capacity import log_capacity
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.predict.predict import anchor_of_request, predict, seabed_of_request
from holdcast.answers.predict.requests import complete_requests
from holdcast.capacity.inputs.missing_measurements import fill_in
from holdcast.physics.errors import PhysicsError
from holdcast.physics.rode.loads import load_on_rode
from holdcast.physics.rode.make_up import make_rode

REQUESTS = {
    "tested cell": {"anchor": "A-10", "seabed": "mud"},
    "untested cell": {"anchor": "B-12", "seabed": "sand"},
    "new size": {"design": "A", "mass_kg": 16.0, "tip_load_kg": 3.6, "seabed": "mud"},
    "new configuration": {
        "anchor": "A-16-bare",
        "design": "B",
        "mass_kg": 12.0,
        "tip_load_kg": 3.5,
        "flag_roll_bar": True,
        "seabed": "mud",
    },
    "new anchor": {"anchor": "mine", "form": "claw", "mass_kg": 11.0, "seabed": "mud"},
    "new seabed": {"anchor": "A-10", "seabed": "elsewhere", "soil": "clay", "strength": "low"},
    "new anchor and seabed": {"design": "A", "mass_kg": 10.0, "soil": "silt", "strength": "low"},
}


def frame(*rows: dict[str, object]) -> pd.DataFrame:
    table = pd.DataFrame(list(rows), index=[f"q{place}" for place in range(len(rows))])
    for column in table:
        if str(column).startswith("flag_"):
            table[column] = table[column].fillna(False).astype(bool)
    return table


@pytest.mark.parametrize("basis", REQUESTS)
def test_basis_says_on_what_an_answer_rests(world_fit, basis) -> None:
    assert predict(world_fit, frame(REQUESTS[basis]))["basis"].item() == basis


def test_known_cells_are_the_quantiles_of_the_posterior(world_fit) -> None:
    answer = predict(world_fit, frame(REQUESTS["tested cell"]))
    draws = np.exp(world_fit.posterior["log_capacity"].sel(anchor="A-10", seabed="mud").to_numpy())
    np.testing.assert_allclose(answer["capacity_n"][0], np.quantile(draws, BANDS), rtol=1e-9)
    np.testing.assert_allclose(answer["efficiency"], answer["capacity_n"] / (10.0 * 9.80665))


def test_a_new_member_brings_its_own_uncertainty(world_fit) -> None:
    """About a tested cell of the same draw, each further unknown scatters more."""
    facts = draws_of(world_fit)
    order = ("tested cell", "new size", "new anchor", "new anchor and seabed")
    rows = complete_requests(facts, frame(*(REQUESTS[name] for name in order)))
    cells = [
        log_capacity(facts, anchor_of_request(facts, row), seabed_of_request(facts, row))
        for _, row in rows.iterrows()
    ]
    # Half of the middle 68%: a prior's few widest draws would make most of a standard deviation.
    spread = [np.diff(np.quantile(cell - cells[0], (0.16, 0.84))).item() / 2.0 for cell in cells]
    assert spread[0] == 0.0
    assert spread[1] > 0.05
    assert (np.diff(spread) > 0.05).all()


def test_a_new_pull_scatters_by_visit_spot_and_pull_and_may_not_set(world_fit) -> None:
    """Witness: numpy's own Student t and normals on the same spreads, drawn set or slid by their chances."""
    answer = predict(world_fit, frame(REQUESTS["tested cell"]))
    facts, random = draws_of(world_fit), np.random.default_rng(2)
    repeats = 50
    cell = world_fit.posterior["log_capacity"].sel(anchor="A-10", seabed="mud").to_numpy().ravel()
    scatter = facts["pull_scatter"][:, facts.labels("seabed").index("mud")]
    shape = (repeats, len(cell))
    pulls = cell + facts["visit_spread"] * random.standard_normal(shape)
    pulls = pulls + facts["spot_spread"] * random.standard_normal(shape)
    pulls = pulls + scatter * random.standard_t(4, shape)
    mass = facts.anchors.loc["A-10", "mass_kg"]
    slid = np.log(facts["sliding_efficiency"] * mass * 9.80665)
    slid = slid + facts["sliding_scatter"] * random.standard_normal(shape)
    odds = world_fit.posterior["sets_log_odds"].sel(anchor="A-10", seabed="mud").to_numpy().ravel()
    pulls = np.where(random.random(shape) < 1.0 / (1.0 + np.exp(-odds)), pulls, slid)
    found = np.log(answer["new_pull_n"].sel(request="q0").to_numpy())
    np.testing.assert_allclose(found, np.quantile(pulls, BANDS), atol=0.12)


def test_an_answer_does_not_depend_on_its_company(world_fit) -> None:
    alone = predict(world_fit, frame(REQUESTS["new anchor"]))
    others = [REQUESTS[name] for name in REQUESTS]
    # Enough others that what is remembered is thrown away on the way.
    crowd = [{"anchor": f"n{i}", "form": "scoop", "mass_kg": 9.0 + i, "seabed": "mud"} for i in range(70)]
    together = predict(world_fit, frame(*others, *crowd, REQUESTS["new anchor"]))
    for place in (list(REQUESTS).index("new anchor"), -1):
        np.testing.assert_array_equal(alone["capacity_n"][0], together["capacity_n"][place])
        np.testing.assert_array_equal(alone["new_pull_n"][0], together["new_pull_n"][place])


def test_another_seed_changes_new_members_and_not_known_ones(world_fit) -> None:
    rows = frame(REQUESTS["tested cell"], REQUESTS["new anchor"])
    one, other = (predict(world_fit, rows, seed=seed)["capacity_n"] for seed in (1, 2))
    np.testing.assert_array_equal(one[0], other[0])
    assert (one[1] != other[1]).all()


def test_range_says_what_leaves_the_tested_and_how_far(world_fit) -> None:
    answer = predict(
        world_fit,
        frame(
            REQUESTS["tested cell"],
            {"design": "A", "mass_kg": 28.0, "tip_load_kg": 3.6, "fluke_area_m2": 0.08, "seabed": "mud"},
            {"anchor": "A-10", "soil": "gravel", "strength": "dense"},
            {"anchor": "A-10", "soil": "clay", "strength": "extremely_high"},
        ),
    )
    assert answer["range"].to_numpy().tolist() == ["inside", "outside", "outside", "outside"]
    assert answer["outside"].to_numpy()[1] == "mass 2 times the largest tested"
    assert "gravel never tested" in str(answer["outside"].to_numpy()[2])
    assert "strength" in str(answer["outside"].to_numpy()[3])


def test_missing_measurements_and_strength_are_said(world_fit) -> None:
    answer = predict(world_fit, frame({"form": "scoop", "mass_kg": 10.0, "soil": "clay"}))
    told = answer["assumed"].item()
    for words in ("tip load not given", "fluke area not given", "strength not given"):
        assert words in told


def test_missing_measurements_are_drawn_as_the_fit_fills_them_in(world_fit) -> None:
    """Witness: what missing_measurements.py says of a scoop, from the tested anchors alone."""
    facts = draws_of(world_fit)
    full = {"anchor": "m", "form": "scoop", "mass_kg": 10.0, "seabed": "mud"}
    rows = complete_requests(
        facts, frame(full, full | {"anchor": "w", "tip_load_kg": 3.5, "fluke_area_m2": 0.3})
    )
    drawn, measured = (anchor_of_request(facts, row) for _, row in rows.iterrows())
    fractions = np.log((facts.anchors["tip_load_kg"] / facts.anchors["mass_kg"]).to_numpy())
    forms = np.append(facts.anchors["form"].to_numpy(dtype=str), "scoop")
    designs = np.append(facts.anchors["design"].to_numpy(dtype=str), "m")
    guess = fill_in(np.append(fractions, np.nan), designs, forms, np.log(0.27), 0.35)
    assert drawn.log_tip_load.mean() == pytest.approx(guess.mean[-1] + np.log(10.0), abs=0.03)
    assert drawn.log_tip_load.std() == pytest.approx(guess.sd[-1], rel=0.06)
    assert drawn.log_area_excess.std() > 0.05
    assert np.ptp(measured.log_tip_load) == np.ptp(measured.log_area_excess) == 0.0
    assert measured.log_tip_load[0] == pytest.approx(np.log(3.5))


def test_what_was_not_measured_of_a_new_size_is_drawn_from_its_designs_other_sizes(world_fit) -> None:
    facts = draws_of(world_fit)
    asked = {"form": "scoop", "mass_kg": 25.0, "seabed": "mud"}
    rows = complete_requests(facts, frame(asked | {"design": "A"}, asked | {"design": "new"}))
    of_design, of_form = (anchor_of_request(facts, row) for _, row in rows.iterrows())
    sizes = facts.anchors[facts.anchors["design"] == "A"]
    share = np.log(sizes["tip_load_kg"] / sizes["mass_kg"]).mean()
    assert of_design.log_tip_load.mean() == pytest.approx(share + np.log(25.0), abs=0.05)
    for measure in ("log_tip_load", "log_area_excess"):
        assert getattr(of_design, measure).std() < 0.5 * getattr(of_form, measure).std()
    for words, told in zip(("design", "form"), rows["assumed"], strict=True):
        assert f"tip load not given: drawn from anchors of its {words}" in told
        assert f"fluke area not given: drawn from anchors of its {words}" in told


def test_scope_alone_turns_every_draw_by_the_straight_rode(world_fit) -> None:
    along = {"anchor": "A-10", "seabed": "mud"}
    answer = predict(world_fit, frame(along, along | {"scope": 5.0}))
    draws = world_fit.posterior["log_capacity"].sel(anchor="A-10", seabed="mud").to_numpy().ravel()
    fall = world_fit.posterior["strength_of_fall"].to_numpy().ravel()
    angle = np.degrees(np.arcsin(1 / 5.0))  # the closed form of a straight rode
    shape = (np.hypot(5.0, angle) - 5.0) / (np.hypot(5.0, 15.0) - 5.0)  # docs/formulas.md, knee at 5 degrees
    turned = np.quantile(np.exp(draws - fall * shape), BANDS)
    np.testing.assert_allclose(answer["capacity_n"].sel(request="q1"), turned, rtol=1e-9)
    assert "pulled straight" in str(answer["assumed"].to_numpy()[1])


def test_a_rode_with_weight_lifts_less_than_a_straight_one(world_fit) -> None:
    cell = {"anchor": "A-10", "seabed": "mud", "scope": 5.0}
    chain = {"depth_m": 5.0, "chain_kg_per_m": 1.4, "chain_length_m": 30.0}
    answer = predict(world_fit, frame(cell, cell | chain))
    assert (answer["capacity_n"][1] > answer["capacity_n"][0]).all()
    draws = np.exp(world_fit.posterior["log_capacity"].sel(anchor="A-10", seabed="mud").to_numpy().ravel())
    rode = make_rode(5.0, 30.0, 1.4, 30.0, bow_height_m=1.0)  # the campaign's boat has its bow 1 m up
    turned = load_on_rode(draws, rode, world_fit.posterior["strength_of_fall"].to_numpy().ravel())
    np.testing.assert_allclose(answer["capacity_n"][1], np.quantile(turned, BANDS), rtol=1e-9)


NOBODY = "no pull lifted a known rode: what a steep pull costs is the trade's usual figure"


@pytest.mark.parametrize(
    ("scope", "told"),
    [
        (5.0, ""),
        (4.96, ""),
        (12.0, ""),
        (4.9, "scope 4.9 is steeper than any tested (5 or more): extrapolated"),
        (3.0, "scope 3 is steeper than any tested (5 or more): extrapolated"),
        (np.nan, ""),
    ],
)
def test_a_scope_steeper_than_any_that_was_pulled_is_told(world_fit, fit_on_rodes, scope, told) -> None:
    asked = frame({"anchor": "A-10", "seabed": "mud", "scope": scope})
    steepest = "no chain given: counted as pulled straight, the steepest it can be"
    straight = "" if np.isnan(scope) else steepest
    for fit, words in ((fit_on_rodes, told), (world_fit, "" if np.isnan(scope) else NOBODY)):
        assert predict(fit, asked)["assumed"].item() == "; ".join(filter(None, [straight, words]))
    for fit, words in ((fit_on_rodes, told), (world_fit, NOBODY)):
        if scope > 0.0:
            assert boat(fit, length_m=9.0, scope=scope).attrs["scope_beyond"] == words
        assert boat(fit, length_m=9.0).attrs["scope_beyond"] == ""


@pytest.mark.parametrize("chain", [{"chain_length_m": 0.0}, {"chain_kg_per_m": 0.0, "chain_length_m": 9.0}])
def test_a_rode_of_rope_leads_straight_and_nothing_is_assumed(world_fit, chain) -> None:
    cell = {"anchor": "A-10", "seabed": "mud", "scope": 5.0}
    answer = predict(world_fit, frame(cell, cell | {"depth_m": 5.0} | chain))
    np.testing.assert_allclose(answer["capacity_n"][1], answer["capacity_n"][0], rtol=1e-12)
    assert "straight" not in str(answer["assumed"].to_numpy()[1])


@pytest.mark.parametrize(
    ("row", "kind", "match"),
    [
        ({"anchor": "A-1O", "seabed": "mud"}, KeyError, "unknown anchor without a mass: 'A-1O'; the nearest"),
        (
            {"anchor": "A-10", "seabed": "mudd"},
            KeyError,
            "unknown seabed without a soil: 'mudd'; the nearest",
        ),
        (
            {"anchor": "A-10", "seabed": "mud", "rode": "chain"},
            KeyError,
            "unknown rode: 'chain'; known: none",
        ),
        ({"anchor": "A-10", "seabed": "mud", "scope": 0.5}, PhysicsError, "scope is 0.5; it must be 1 or"),
        ({"anchor": "A-10", "soil": "loam"}, PhysicsError, "soil is 'loam'"),
    ],
)
def test_what_cannot_be_answered_raises(world_fit, row, kind, match) -> None:
    with pytest.raises(kind, match=match):
        predict(world_fit, frame(row))


def test_requests_are_not_edited_and_need_names_of_their_own(world_fit) -> None:
    rows = frame(REQUESTS["new anchor"], REQUESTS["tested cell"])
    before = rows.copy(deep=True)
    predict(world_fit, rows)
    pd.testing.assert_frame_equal(rows, before)
    with pytest.raises(ValueError, match="each request needs a name of its own"):
        predict(world_fit, rows.set_axis(["q", "q"]))


def test_a_hundred_requests_take_seconds(world_fit) -> None:
    crowd = [{"anchor": f"n{i}", "form": "scoop", "mass_kg": 9.0 + i, "seabed": "mud"} for i in range(100)]
    predict(world_fit, frame(crowd[0]))  # what is loaded and compiled once
    start = time.process_time()  # other tests may run beside this one
    answer = predict(world_fit, frame(*crowd))
    assert time.process_time() - start < 10.0 / 3.0
    assert np.isfinite(answer["capacity_n"]).all()
    assert {str(dim) for dim in answer.dims} == {"request", "quantile"}
    assert all({"units", "long_name"} <= set(array.attrs) for array in answer.data_vars.values())

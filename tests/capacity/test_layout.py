"""From a campaign to labelled arrays: labels, missing measurements, loads, kinds of readings."""

from collections.abc import Callable

import numpy as np
import pytest
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign import Campaign, read_campaign
from holdcast.campaign.records import used_rows
from holdcast.capacity.inputs.labels import positions
from holdcast.capacity.inputs.layout import REFERENCE_AREA_M2, lay_out
from holdcast.capacity.inputs.likeness import ACROSS_SOILS, alike_kernel, kernel_parts
from holdcast.capacity.inputs.loads import loads_at_anchor
from holdcast.capacity.inputs.missing_measurements import fill_in
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT
from holdcast.capacity.model.seabed_likeness import alike_effects
from holdcast.package_data import path
from holdcast.physics.rode.catenary import bar_tight_angle_deg
from holdcast.physics.rode.loads import fall_shape_log_slope, load_at_anchor, uplift_angle_deg
from holdcast.physics.rode.make_up import make_rode
from holdcast.physics.rode.uplift import fall_shape


@pytest.fixture(scope="module")
def demo() -> Campaign:
    return read_campaign(path("demo"))


@pytest.fixture(scope="module")
def demo_inputs(demo: Campaign) -> xr.Dataset:
    return lay_out(demo)


# --- Labels ----------------------------------------------------------------------------------------------


def test_positions_follow_the_known_labels() -> None:
    np.testing.assert_array_equal(positions(["c", "a", "c"], ["a", "b", "c"], "anchor"), [2, 0, 2])
    assert positions([], ["a"], "anchor").dtype == np.int64


def test_an_unknown_label_raises_and_names_the_nearest() -> None:
    with pytest.raises(
        KeyError, match=r"unknown seabed: 'muud', 'sandd'; the nearest known one to 'muud' is 'mud'"
    ):
        positions(["mud", "sandd", "muud"], ["mud", "sand"], "seabed")
    with pytest.raises(KeyError, match=r"unknown anchor: 'a-1'; the nearest known one to 'a-1' is 'A-10'"):
        positions(["a-1"], ["F-10", "A-10"], "anchor")


def test_where_none_is_near_the_known_labels_are_listed() -> None:
    with pytest.raises(KeyError, match=r"unknown seabed: 'foo'; known: 'stony spit', 'mud'\W$"):
        positions(["foo"], ["stony spit", "mud"], "seabed")
    with pytest.raises(KeyError, match=r"unknown anchor: 'A'; known: none\W$"):
        positions(["A"], [], "anchor")
    with pytest.raises(KeyError, match=r"'11' and 8 more\W$"):
        positions(["foo"], [str(number) for number in range(20)], "seabed")


def test_labels_differing_in_case_or_spaces_are_not_one() -> None:
    for label in ("MUD", " mud", "mud "):
        with pytest.raises(KeyError, match="unknown seabed"):
            positions([label], ["mud"], "seabed")


@pytest.mark.parametrize(("column", "what"), [("anchor", "anchor"), ("seabed", "seabed")])
def test_a_trial_of_an_unknown_label_stops_the_layout(
    small_campaign: Campaign, column: str, what: str
) -> None:
    from dataclasses import replace

    trials = small_campaign.trials.copy()
    trials.loc[trials.index[0], column] = "elsewhere"
    with pytest.raises(KeyError, match=f"unknown {what}: 'elsewhere'"):
        lay_out(replace(small_campaign, trials=trials))


# --- Missing measurements --------------------------------------------------------------------------------

FORMS = np.array(["scoop"] * 5 + ["claw"] * 2)
ALONE = np.array([f"design {number}" for number in range(30)])


def test_measured_values_stand_untouched() -> None:
    values = np.array([1.0, 1.1, np.nan, 0.9, 1.0, 3.0, 2.9])
    given = values.copy()
    filled = fill_in(values, ALONE[:7], FORMS, 0.0, 0.5)
    known = ~np.isnan(values)
    np.testing.assert_array_equal(filled.mean[known], values[known])
    np.testing.assert_array_equal(filled.sd[known], 0.0)
    np.testing.assert_array_equal(values, given)
    whole = fill_in(values[known], ALONE[:6], FORMS[known], 0.0, 0.5)
    np.testing.assert_array_equal(whole.mean, values[known])
    np.testing.assert_array_equal(whole.sd, 0.0)


def test_a_missing_value_lies_between_its_form_and_all_and_nearer_its_form() -> None:
    filled = fill_in(np.array([1.0, 1.1, np.nan, 0.9, 1.0, 3.0, 2.9]), ALONE[:7], FORMS, 1.5, 0.3)
    assert 1.0 < filled.mean[2] < 1.3
    assert 0.1 < filled.sd[2] < 0.6


def test_more_anchors_of_a_form_draw_a_missing_value_to_it_and_narrow_it() -> None:
    few = fill_in(np.array([1.0, np.nan, *[3.0] * 8]), ALONE[:10], np.array(["a", "a", *"b" * 8]), 2.0, 0.4)
    many = fill_in(
        np.array([*[1.0] * 9, np.nan, *[3.0] * 8]), ALONE[:18], np.array([*"a" * 10, *"b" * 8]), 2.0, 0.4
    )
    assert abs(many.mean[9] - 1.0) < abs(few.mean[1] - 1.0)
    assert many.sd[9] < few.sd[1]


def test_where_nothing_is_known_the_band_is_as_wide_as_the_trade_and_wider() -> None:
    filled = fill_in(np.full(3, np.nan), ALONE[:3], np.array(["a", "b", "b"]), -1.3, 0.35)
    np.testing.assert_allclose(filled.mean, -1.3)
    assert (filled.sd > 0.35).all()
    assert (filled.sd < 0.7).all()


def test_another_size_of_the_design_tells_far_more_than_another_design_of_its_form() -> None:
    values = np.array([1.0, 1.05, np.nan, np.nan, 2.0, 1.4, 1.7, 1.2])
    designs = np.array(["A", "A", "A", "B", "C", "D", "E", "F"])
    filled = fill_in(values, designs, np.repeat("scoop", 8), 1.5, 0.35)
    assert filled.mean[2] == pytest.approx(1.025, abs=0.05)
    assert filled.sd[2] < 0.15
    assert filled.mean[3] == pytest.approx(1.4, abs=0.1)
    assert filled.sd[3] > 0.3


def test_sizes_of_a_design_that_were_found_to_differ_tell_less_of_a_third() -> None:
    designs = np.array(["A", "A", "A", "B", "B"])
    even, uneven = (
        fill_in(np.array([1.0, 1.0 + step, np.nan, 1.5, 1.5 + step]), designs, np.repeat("claw", 5), 1.3, 0.3)
        for step in (0.02, 0.5)
    )
    assert uneven.sd[2] > 1.8 * even.sd[2]


def test_many_sizes_of_one_design_do_not_tell_how_designs_differ() -> None:
    few, many = (
        fill_in(
            np.append(1.0 + 0.01 * np.arange(count), np.nan),
            np.array(["A"] * count + ["new"]),
            np.repeat("scoop", count + 1),
            1.3,
            0.35,
        )
        for count in (2, 12)
    )
    assert many.sd[-1] > 0.9 * few.sd[-1] > 0.3


def test_sizes_that_differ_more_than_the_form_make_designs_as_wide() -> None:
    values = np.array([0.0, 2.0, np.nan, 1.0, 1.01, np.nan])
    designs = np.array(["A", "A", "A", "B", "B", "new"])
    filled = fill_in(values, designs, np.repeat("plough", 6), 1.0, 0.05)
    assert np.isfinite(filled.sd).all()
    assert filled.sd[5] >= filled.sd[2] > 0.7


def test_a_design_under_two_forms_is_one_design_still() -> None:
    values, designs = np.array([-0.8, -1.9, np.nan]), np.array(["A", "B", "A"])
    by_slip = fill_in(values, designs, np.array(["scoop", "claw", "other"]), -1.3, 0.35)
    rightly = fill_in(values, designs, np.array(["scoop", "claw", "scoop"]), -1.3, 0.35)
    # Its other anchor speaks for it, less surely by what forms differ by.
    assert by_slip.mean[2] == pytest.approx(rightly.mean[2], abs=0.15)
    assert rightly.sd[2] < by_slip.sd[2] < np.hypot(rightly.sd[2], 0.2 * np.sqrt(2.0))


def test_missing_values_are_those_of_a_mixed_model_with_the_same_spreads() -> None:
    """Witness: regression of a random-intercept model by its definition, precision matrix and all."""
    values = np.array([1.0, 1.3, np.nan, 0.7, np.nan])
    designs, forms = np.array(["A", "A", "A", "B", "C"]), np.array(["x", "x", "x", "x", "y"])
    filled = fill_in(values, designs, forms, 0.5, 0.3)
    total = (2 * 0.3**2 + 2 * 0.225**2) / (2 + 1)  # the designs' means, 1.15 and 0.7
    own = (2 * 0.1**2 + 2 * 0.15**2) / (2 + 1)
    # Unknowns: common mean, forms x and y, designs A, B and C.
    prior = np.diag(1.0 / np.array([total / 2, *[0.2**2] * 2, *[total - own] * 3]))
    rows = np.array(
        [[1, 1, 0, 1, 0, 0], [1, 1, 0, 1, 0, 0], [1, 1, 0, 0, 1, 0]]
    )  # the measured anchors: A, A, B
    covariance = np.linalg.inv(prior + rows.T @ rows / own)
    centre = covariance @ (rows.T @ (values[[0, 1, 3]] - 0.5) / own)
    for place, asked in ((2, [1, 1, 0, 1, 0, 0]), (4, [1, 0, 1, 0, 0, 1])):
        row = np.array(asked, dtype=float)
        assert filled.mean[place] == pytest.approx(0.5 + row @ centre)
        assert filled.sd[place] == pytest.approx(np.sqrt(row @ covariance @ row + own))


def test_missing_measurements_are_unknowns_and_the_rest_is_fixed(
    demo: Campaign, demo_inputs: xr.Dataset
) -> None:
    for name, column in (("log_tip_load", "tip_load_kg"), ("log_area_excess", "fluke_area_m2")):
        missing = demo.anchors[column].isna().to_numpy()
        assert missing.sum() == 3
        np.testing.assert_array_equal(demo_inputs[f"{name}_spread"] > 0, missing)
    measured = demo.anchors["tip_load_kg"].dropna()
    np.testing.assert_allclose(np.exp(demo_inputs["log_tip_load"].sel(anchor=measured.index)), measured)


# --- Loads -----------------------------------------------------------------------------------------------


def pulls_with(**cells: object) -> list[dict[str, object]]:
    whole = {"trial": "1", "anchor": "A-10", "seabed": "mud", "test": "pull", "date": "2024-05-01",
             "held_n": 1500, "released_n": 2500}  # fmt: skip
    return [whole | cells]


GEOMETRY = {"depth_m": 5, "scope": 5, "chain_kg_per_m": 1.4, "chain_length_m": 8}


def rode_of_geometry() -> object:
    return make_rode(5.0, 25.0, 1.4, 8.0)


def test_a_load_read_at_the_bow_is_brought_to_the_anchor_each_end_at_its_own_angle(
    make_campaign: Callable[..., Campaign],
) -> None:
    row = loads_at_anchor(make_campaign(trials=pulls_with(**GEOMETRY))).iloc[0]
    rode = rode_of_geometry()
    lower, upper = (float(load_at_anchor(load, rode)) for load in (1500.0, 2500.0))
    assert (row["lower_n"], row["upper_n"]) == pytest.approx((lower, upper))
    assert lower < 1500.0
    for end, load in (("lower", lower), ("upper", upper)):
        assert row[f"fall_{end}"] == pytest.approx(float(fall_shape(uplift_angle_deg(load, rode))))
    assert 0.0 < row["fall_lower"] < row["fall_upper"]
    assert row["fall_slope"] == pytest.approx(float(fall_shape_log_slope(upper, rode)))
    assert row["rode_known"]


def test_a_load_read_at_the_anchor_stands_but_is_turned(make_campaign: Callable[..., Campaign]) -> None:
    row = loads_at_anchor(make_campaign(trials=pulls_with(load_at="anchor", **GEOMETRY))).iloc[0]
    assert (row["lower_n"], row["upper_n"]) == (1500.0, 2500.0)
    assert row["fall_upper"] == pytest.approx(float(fall_shape(uplift_angle_deg(2500.0, rode_of_geometry()))))


@pytest.mark.parametrize("left_out", ["depth_m", "scope", "chain_"])
def test_a_rode_not_fully_given_counts_as_read_along_the_bottom(
    make_campaign: Callable[..., Campaign], left_out: str
) -> None:
    geometry = {name: value for name, value in GEOMETRY.items() if not name.startswith(left_out)}
    row = loads_at_anchor(make_campaign(trials=pulls_with(**geometry))).iloc[0]
    assert (row["lower_n"], row["upper_n"]) == (1500.0, 2500.0)
    assert (row["fall_lower"], row["fall_upper"], row["fall_slope"]) == (0.0, 0.0, 0.0)
    assert not row["rode_known"]


@pytest.mark.parametrize("chain", [{"chain_length_m": 0}, {"chain_kg_per_m": 0}])
def test_a_rode_of_rope_is_turned_as_the_straight_line_it_is(
    make_campaign: Callable[..., Campaign], chain: dict[str, object]
) -> None:
    row = loads_at_anchor(make_campaign(trials=pulls_with(depth_m=5, scope=4, **chain))).iloc[0]
    assert (row["lower_n"], row["upper_n"]) == pytest.approx((1500.0, 2500.0))
    straight = float(fall_shape(float(bar_tight_angle_deg(4.0))))
    assert (row["fall_lower"], row["fall_upper"]) == pytest.approx((straight, straight))
    assert row["rode_known"]


def test_where_friction_takes_most_of_a_load_only_the_ends_it_may_have_are_told(
    make_campaign: Callable[..., Campaign],
) -> None:
    chain = {"depth_m": 5, "scope": 8, "chain_kg_per_m": 1.4, "chain_length_m": 40}
    rode = make_rode(5.0, 40.0, 1.4, 40.0)
    slippery = make_rode(5.0, 40.0, 1.4, 40.0, friction=0.0)
    for load, told in ((260.0, False), (500.0, True), (2000.0, True)):
        campaign = make_campaign(trials=pulls_with(held_n=load, released_n=load, **chain))
        row = loads_at_anchor(campaign).iloc[0]
        rough, smooth = (float(load_at_anchor(load, each, below_weight="zero")) for each in (rode, slippery))
        assert (rough >= 0.5 * smooth) == told
        assert row["lower_n"] == pytest.approx(rough)
        assert row["upper_n"] == pytest.approx(rough if told else smooth)


def test_a_load_that_hung_the_rode_only_is_open_below(make_campaign: Callable[..., Campaign]) -> None:
    inputs = lay_out(make_campaign(trials=pulls_with(held_n=30, **GEOMETRY)))
    assert inputs["kind"].item() == BELOW
    assert np.isfinite(inputs["lower"].item())


def test_open_ends_stay_open_and_finite(make_campaign: Callable[..., Campaign]) -> None:
    never = pulls_with(held_n="", **GEOMETRY) + pulls_with(
        trial="2", released_n="", stopped_by="boat_limit", **GEOMETRY
    )
    inputs = lay_out(make_campaign(trials=never))
    np.testing.assert_array_equal(inputs["kind"], [BELOW, ABOVE])
    for name in inputs.data_vars:
        assert np.isfinite(inputs[name]).all(), name


def test_speed_is_taken_where_given_and_rest_elsewhere(make_campaign: Callable[..., Campaign]) -> None:
    made = loads_at_anchor(
        make_campaign(trials=pulls_with(speed_mps=0.02) + pulls_with(trial="2", speed_mps=""))
    )
    assert list(made["speed"]) == [0.02, 0.0]
    assert list(made["speed_known"]) == [True, False]


# --- The whole layout ------------------------------------------------------------------------------------


def test_demo_layout_is_whole(demo: Campaign, demo_inputs: xr.Dataset) -> None:
    sizes = {"anchor": 21, "design": 12, "seabed": 7, "feature": 4, "trial": 304, "component": 7}
    assert {name: demo_inputs.sizes[name] for name in sizes} == sizes
    assert not any("_dim_" in str(dim) for dim in demo_inputs.dims)
    for name, values in demo_inputs.data_vars.items():
        assert np.isfinite(values).all(), name
    assert list(demo_inputs["trial"].to_numpy()) == list(used_rows(demo.trials, "pull").index)


def test_demo_units(demo: Campaign, demo_inputs: xr.Dataset) -> None:
    np.testing.assert_allclose(10.0 * np.exp(demo_inputs["log_mass_ratio"]), demo.anchors["mass_kg"])
    area = demo.anchors["fluke_area_m2"].to_numpy()
    ratio = area / (REFERENCE_AREA_M2 * (demo.anchors["mass_kg"].to_numpy() / 10.0) ** (2 / 3))
    known = ~np.isnan(area)
    np.testing.assert_allclose(np.exp(demo_inputs["log_area_excess"])[known], ratio[known])
    assert 0.02 < area[known].min() < area[known].max() < 0.5, "areas are in square metres"
    loads = np.exp(demo_inputs["upper"])
    assert 50.0 < float(loads.min()) < float(loads.max()) < 20_000.0, "loads are in newtons"


def test_demo_kinds_are_those_of_the_log(demo: Campaign, demo_inputs: xr.Dataset) -> None:
    pulls = used_rows(demo.trials, "pull")
    kind = demo_inputs["kind"].to_numpy()
    np.testing.assert_array_equal(kind == ABOVE, np.isinf(pulls["released_n"]))
    np.testing.assert_array_equal(kind == EXACT, pulls["held_n"] == pulls["released_n"])
    never_held = (pulls["held_n"] == 0.0).to_numpy()
    assert (kind[never_held] == BELOW).all()
    assert {BELOW, ABOVE, BETWEEN, EXACT} == set(kind)
    between = kind == BETWEEN
    assert (demo_inputs["upper"] > demo_inputs["lower"]).to_numpy()[between].all()


def test_positions_in_the_layout_point_at_the_logs_own_labels(
    demo: Campaign, demo_inputs: xr.Dataset
) -> None:
    pulls = used_rows(demo.trials, "pull")
    for what in ("anchor", "seabed"):
        np.testing.assert_array_equal(
            demo_inputs[what].to_numpy()[demo_inputs[f"{what}_of"]], pulls[what].to_numpy(dtype=str)
        )
    designs = demo_inputs["design"].to_numpy()[demo_inputs["design_of"]]
    np.testing.assert_array_equal(designs, demo.anchors["design"].to_numpy(dtype=str))
    visits = demo_inputs["visit"].to_numpy()[demo_inputs["visit_of"]]
    assert len(set(zip(visits, pulls["seabed"], strict=True))) == demo_inputs.sizes["visit"]


def test_shares_add_up_to_one_in_each_seabed_that_was_pulled(demo_inputs: xr.Dataset) -> None:
    np.testing.assert_allclose(demo_inputs["pull_weight"].sum("anchor"), 1.0)
    np.testing.assert_allclose(demo_inputs["visit_weight"].sum("visit"), 1.0)
    np.testing.assert_allclose(demo_inputs["form_weight"].sum(["anchor", "seabed"]), 1.0)


def test_the_layout_edits_nothing(demo: Campaign) -> None:
    before = demo.trials.copy(), demo.anchors.copy(), demo.seabeds.copy()
    lay_out(demo)
    for was, now in zip(before, (demo.trials, demo.anchors, demo.seabeds), strict=True):
        assert was.equals(now)


# --- Likeness of seabeds ---------------------------------------------------------------------------------

SOILS = ["clay", "silt", "sand", "gravel", "rock", "clay"]
INDEX = np.array([-1.5, -0.4, 0.1, 0.6, 2.0, 0.9])
PATTERNS: list[list[NDArray[np.float64]]] = [
    [],
    [np.full(6, 1e-5)],
    [np.full(6, 0.6)],
    [np.full(6, 0.6), np.array([0.5, 0.0, -1.0, 2.0, 0.1, 0.3]), np.array([0.5, 0.0, -1.0, 2.0, 0.1, -0.3])],
]
"""Patterns over seabeds that members have in common: none, next to none, one, and three nearly alike."""


def test_likeness_is_a_correlation() -> None:
    kernel = alike_kernel(INDEX, SOILS)
    np.testing.assert_array_equal(np.diag(kernel), 1.0)
    np.testing.assert_allclose(kernel, kernel.T)
    assert (kernel > 0.0).all()
    assert np.linalg.eigvalsh(kernel).min() >= -1e-12


def test_likeness_falls_with_strength_apart_and_across_soils() -> None:
    kernel = alike_kernel(np.array([0.0, 0.0, 0.0, 1.0]), ["clay", "silt", "sand", "clay"])
    assert kernel[0, 1] == 1.0
    assert kernel[0, 2] == ACROSS_SOILS
    assert kernel[0, 3] == pytest.approx(np.exp(-0.5))


@pytest.mark.parametrize("soils", [SOILS, ["clay"] * 6])
def test_parts_rebuild_the_kernel_and_mix_with_independence(soils: list[str]) -> None:
    for index in (INDEX, np.zeros(6)):
        kernel = alike_kernel(index, soils)
        value, vector = kernel_parts(kernel)
        np.testing.assert_allclose((vector * value) @ vector.T, kernel, atol=1e-12)
        for patterns in PATTERNS:
            half = alike_effects(np.eye(6), value, vector, 0.3, 0.7, [x @ vector for x in patterns]).eval()
            expected = 0.3 * kernel + 0.7 * np.eye(6) + sum(np.outer(x, x) for x in patterns)
            np.testing.assert_allclose(half.T @ half, expected, atol=1e-12)
        assert (value >= 0.0).all()

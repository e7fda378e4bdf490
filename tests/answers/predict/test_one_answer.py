"""One question, one answer: the same number from every place that gives it, against outside witnesses."""

from dataclasses import replace
from math import cos, radians

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from holdcast.answers.boat.boat import boat
from holdcast.answers.cells.cells import cells
from holdcast.answers.draws.anchors import known_anchor
from holdcast.answers.draws.bands import BANDS
from holdcast.answers.draws.counts import AT_LEAST, AT_MOST, BOTH, counts
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.new_pull import least_load_n, load_survival, new_pull
from holdcast.answers.draws.rode import straight, tension_factor
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.answers.explain.explain import explain
from holdcast.answers.predict.predict import predict
from holdcast.answers.rank.rank import log_measure, ranking
from holdcast.answers.sizes.one_shape import any_size_of_design
from holdcast.answers.sizes.sizes import mass_for_load
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW
from holdcast.physics.rode.catenary import bar_tight_angle_deg
from holdcast.physics.tackle.own_weight import own_weight_floor_n
from holdcast.show.text.cell_rows import cell_rows


@pytest.fixture(scope="module")
def table(world_fit):
    tree = world_fit.tree.copy()
    tree["prior"] = world_fit.posterior  # the worlds are draws from the prior
    return cells(replace(world_fit, tree=tree))


def test_cells_equal_predict_cell_by_cell(world_fit, table) -> None:
    rows = table["range"].to_series().reset_index()[["anchor", "seabed"]]
    asked = predict(world_fit, rows.set_axis([f"q{place}" for place in rows.index]))
    for name in ("capacity_n", "new_pull_n", "efficiency"):
        np.testing.assert_allclose(asked[name].to_numpy(), table[name].to_numpy().reshape(-1, 5), rtol=1e-12)
    assert asked["range"].to_numpy().tolist() == table["range"].to_numpy().ravel().tolist()
    evidence = [f"{word} cell" for word in table["evidence"].to_numpy().ravel()]
    assert asked["basis"].to_numpy().tolist() == evidence


def test_boat_explain_rank_and_the_shown_rows_agree_with_cells(world_fit, table) -> None:
    ends = boat(world_fit, length_m=9.0, chance=0.95)
    np.testing.assert_array_equal(ends["new_pull_n"], table["new_pull_n"].sel(quantile=0.05))
    # Boat sums the model's parts, whose rounding differs in the last digit from the stored sum.
    np.testing.assert_allclose(ends["capacity_n"], table["capacity_n"].sel(quantile=[0.05, 0.5, 0.95]), 1e-12)
    np.testing.assert_array_equal(ends["bounded"], table["bounded"])
    load = float(table["new_pull_n"].sel(anchor="A-10", seabed="mud", quantile=0.05))
    one = draws_of(world_fit)
    pull = new_pull(one, [known_anchor(one, "A-10")], known_seabed(one, "mud"))
    assert pull.chances(np.array([load]))[0, 0] == pytest.approx(0.95, abs=1e-6)
    tree = world_fit.tree.copy()
    tree["prior"] = world_fit.posterior
    cell = explain(replace(world_fit, tree=tree), "A-10", "mud")
    np.testing.assert_allclose(cell["capacity_n"], table["capacity_n"].sel(anchor="A-10", seabed="mud"))
    shown = cell_rows(table).set_index(["anchor", "seabed"]).loc[("A-10", "mud")]
    assert shown["new_pull_n_q05"] == load and int(cell["pulls"]) == shown["pulls"]
    ranked = ranking(world_fit)
    np.testing.assert_array_equal(ranked["tested"], table["evidence"] == "tested")


def test_new_pulls_are_those_of_a_simulation(world_fit, table) -> None:
    """Witness: numpy's own normal and Student t, many for each draw."""
    draws, random = draws_of(world_fit), np.random.default_rng(11)
    capacity = world_fit.posterior["log_capacity"].sel(anchor="A-10", seabed="silt").to_numpy().ravel()
    pull = new_pull(draws, [known_anchor(draws, "A-10")], known_seabed(draws, "silt"))
    shape = (400, len(capacity))
    pulls = capacity + np.hypot(draws["visit_spread"], draws["spot_spread"]) * random.standard_normal(shape)
    pulls += pull.pull_scatter * random.standard_t(4, shape)
    slides = pull.sliding[0] + draws["sliding_scatter"] * random.standard_normal(shape)
    pulls = np.where(random.random(shape) < pull.sets[0], pulls, slides)
    below = table["new_pull_n"].sel(anchor="A-10", seabed="silt").to_numpy()
    shares = (pulls.ravel()[:, None] < np.log(below)).mean(axis=0)
    # Noise is independent given the draw, so the share's error is at most that of 800,000 pulls: 0.0006.
    np.testing.assert_allclose(shares, BANDS, atol=0.0025)


@pytest.mark.parametrize("visit", [0.0, 0.05, 0.2, 0.5, 3.0])
@pytest.mark.parametrize("load", [-2.0, -0.3, 0.0, 0.7, 4.0])
def test_the_chance_is_the_convolution(visit, load) -> None:
    """Witness: scipy's t and normal, integrated by scipy's adaptive quadrature."""
    scatter = stats.t(4, scale=0.25)
    share = load_survival(np.array([[load]]), np.array([0.1]), np.array([visit]), np.array([0.25])).item()
    if not visit:
        assert share == pytest.approx(scatter.sf(load - 0.1), abs=1e-12)
        return
    expected = integrate.quad(
        lambda z: stats.norm.pdf(z) * scatter.sf(load - 0.1 - visit * z), -9, 9, epsabs=1e-10, limit=400
    )[0]
    assert share == pytest.approx(expected, abs=1e-5)


def test_the_range_is_that_of_the_log_and_of_a_designs_own_masses(world_fit) -> None:
    def outside(*rows: dict[str, object]) -> list[str]:
        named = pd.DataFrame(list(rows), index=[f"q{place}" for place in range(len(rows))])
        return predict(world_fit, named)["outside"].to_numpy().tolist()

    size = {"tip_load_kg": 3.0, "fluke_area_m2": 0.08, "seabed": "mud"}
    told = outside({"design": "A", "mass_kg": 12.5, **size}, {"design": "Q", "mass_kg": 12.5, **size})
    assert told == ["mass 1.25 times the largest tested of its design", ""]


def test_a_soil_whose_pulls_are_all_excluded_is_outside_everywhere(world_fit) -> None:
    fit = replace(world_fit, tree=world_fit.tree.copy())
    trials = fit.tree["trials"].to_dataset()
    silt = trials["seabed"] == "silt"
    fit.tree["trials"] = trials.assign(status=trials["status"].where(~silt, "excluded"))
    inputs = fit.tree["constant_data"].to_dataset()
    at = list(inputs["seabed"].to_numpy()).index("silt")
    fit.tree["constant_data"] = inputs.isel(trial=np.flatnonzero(inputs["seabed_of"] != at))
    observed = fit.tree["observed_data"].to_dataset()
    fit.tree["observed_data"] = observed.isel(trial=np.flatnonzero(inputs["seabed_of"] != at))
    rows = pd.DataFrame([{"anchor": "A-10", "seabed": "silt"}], index=["q"])
    answer = predict(fit, rows)
    assert "silt never tested" in answer["outside"].item()
    from holdcast.answers.cells.cells import range_words

    assert range_words(draws_of(fit)).sel(anchor="A-10", seabed="silt").item() == answer["range"].item()


def test_sides_on_which_pulls_bound_a_cell(world_fit) -> None:
    fit = replace(world_fit, tree=world_fit.tree.copy())
    inputs = fit.tree["constant_data"].to_dataset()
    kind = inputs["kind"].to_numpy().copy()
    kind[0], kind[1] = ABOVE, BELOW
    fit.tree["constant_data"] = inputs.assign(kind=("trial", kind))
    bounded = counts(draws_of(fit))["bounded"].to_numpy()
    places = [(int(inputs["anchor_of"][trial]), int(inputs["seabed_of"][trial])) for trial in (0, 1, 2)]
    assert [bounded[place] for place in places] == [AT_LEAST, AT_MOST, BOTH]
    assert bounded[counts(draws_of(fit))["pulls"].to_numpy() == 0].tolist() == [""]


def test_the_boats_load_is_horizontal_and_the_rode_is_pulled_harder(world_fit) -> None:
    """Scope 2 leads up at 30 degrees: the rode carries 1 / cos 30° = 1.155 of the load (an identity)."""
    assert tension_factor(straight(2.0)) == pytest.approx(1.0 / cos(radians(30.0)))
    answer = boat(world_fit, length_m=9.0, scope=2.0, chance=0.7)
    np.testing.assert_allclose(answer["tension_n"], answer["load_n"] / cos(radians(30.0)))
    wind = float(answer["holds_wind_mps"][0, 0])
    again = boat(world_fit, length_m=9.0, scope=2.0, chance=0.7, wind_mps=[wind])
    assert float(again["exceeds"][0, 0, 0]) == pytest.approx(0.7, abs=1e-4)
    tension = float(again["tension_n"][0])
    asked = pd.DataFrame([{"anchor": "A-06", "seabed": "mud", "scope": 2.0}], index=["q"])
    assert again["anchor"][0] == "A-06" and again["seabed"][0] == "mud"
    reached = predict(world_fit, asked)["new_pull_n"].sel(quantile=0.25).item()
    assert reached < float(answer["new_pull_n"][0, 0]) == pytest.approx(tension, rel=1e-4)


def test_the_mass_for_a_load_holds_it_with_the_chance_of_a_new_pull(world_fit) -> None:
    """At the mass told, the new pull's chance by the one function is the chance asked for."""
    draws = draws_of(world_fit)
    answer = mass_for_load(world_fit, 1500.0, designs=["A"], seabeds=["sand"], chances=(0.5, 0.7))
    shape, seabed = any_size_of_design(draws, "A"), known_seabed(draws, "sand")
    for chance in (0.5, 0.7):
        mass = float(answer["mass_new_pull_kg"].sel(chance=chance).squeeze())
        scaled = replace(shape, mass_kg=mass, log_tip_load=shape.log_tip_load + np.log(mass))
        pull = new_pull(draws, [scaled], seabed)
        assert pull.chances(np.array([1500.0]))[0, 0] == pytest.approx(chance, abs=1e-6)


@pytest.mark.parametrize("scope", [None, 3.0])
def test_a_mass_whose_own_weight_resists_the_load_is_enough(world_fit, scope) -> None:
    """Every draw slides at a hundredth of the weight and never sets: only the floor holds a load."""
    sliding = _sliding(world_fit)
    load = 40.0
    mass = mass_for_load(sliding, load, designs=["A"], seabeds=["sand"], chances=(0.5, 0.95), scope=scope)
    told = mass["mass_new_pull_kg"].squeeze().to_numpy()
    angle = 0.0 if scope is None else float(bar_tight_angle_deg(scope))
    tension = load / np.cos(np.radians(angle))
    floor = own_weight_floor_n(told * 9.80665, min(angle, 15.0))
    assert floor == pytest.approx([tension, tension])
    heavier = mass_for_load(sliding, 1e5, designs=["A"], seabeds=["sand"], chances=(0.5,), scope=scope)
    assert np.isinf(heavier["mass_new_pull_kg"]).all()


def test_pairs_expected_wrong_are_the_chances_that_they_are(world_fit) -> None:
    """Witness: counting over the draws of each pair."""
    ranked = ranking(world_fit, ["mud"])
    draws = log_measure(world_fit, "capacity").sel(seabed="mud").to_numpy()
    wins = (draws[:, None] > draws[None]).mean(axis=-1)
    apart = wins >= 0.95
    assert int(ranked["pairs_apart"][0]) == apart.sum()
    assert float(ranked["pairs_wrong"][0]) == pytest.approx((1.0 - wins)[apart].sum())


def _sliding(fit: Fit) -> Fit:
    """Return the fit as if no anchor ever set and each slid at a hundredth of its weight."""
    posterior = fit.posterior
    tree = fit.tree.copy()
    tree["posterior"] = posterior.assign(
        sets_log_odds=posterior["sets_log_odds"] * 0.0 - 40.0,
        set_typical=posterior["set_typical"] * 0.0 - 200.0,
        sliding_efficiency=posterior["sliding_efficiency"] * 0.0 + 0.01,
    )
    return replace(fit, tree=tree)


def test_no_new_pull_is_told_below_what_its_own_weight_resists(world_fit) -> None:
    """Every draw slides at a hundredth of the weight: the floor alone is left, unless the log saw less."""
    sliding = _sliding(world_fit)
    tree = sliding.tree
    floor = own_weight_floor_n(10.0 * 9.80665)
    one = draws_of(sliding)
    pull = new_pull(one, [known_anchor(one, "A-10")], known_seabed(one, "mud"))
    assert pull.quantiles_n([0.05, 0.5])[0] == pytest.approx([floor, floor])
    assert pull.chances(np.array([0.99 * floor, 1.01 * floor]))[0] == pytest.approx([1.0, 0.0], abs=0.01)
    asked = pd.DataFrame([{"anchor": "A-10", "seabed": "mud"}], index=["q"])
    assert predict(sliding, asked)["new_pull_n"].sel(quantile=0.05).item() == pytest.approx(floor)
    inputs = sliding.tree["constant_data"].to_dataset()
    trial = np.flatnonzero(inputs["anchor_of"].to_numpy() == 1)[0]
    upper = inputs["upper"].to_numpy().copy()
    upper[trial] = np.log(0.05 * 10.0 * 9.80665)
    tree["constant_data"] = inputs.assign(upper=("trial", upper))
    assert least_load_n(draws_of(replace(world_fit, tree=tree)), 10.0) == pytest.approx(0.05 * 10.0 * 9.80665)

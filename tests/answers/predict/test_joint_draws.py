"""The page's draws give the chances that ``boat`` gives, within the error of fewer draws."""

import numpy as np
import pytest

from holdcast.answers.boat.boat import boat
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.new_pull import least_load_n
from holdcast.answers.draws.rode import straight, tension_factor
from holdcast.answers.page.joint_draws import holding_chance, joint_draws

SEABEDS = ["mud", "silt", "sand"]


@pytest.mark.parametrize(("length", "wind"), [(6.0, 8.0), (9.0, 12.0), (10.7, 15.0), (14.0, 21.0)])
def test_chances_are_those_of_boat(world_fit, length, wind):
    answer = boat(world_fit, length_m=length, wind_mps=[wind])
    exceeds = answer["exceeds"].isel(wind_mps=0).sel(seabed=SEABEDS)
    load = float(answer["load_n"][0])
    all_draws = holding_chance(joint_draws(world_fit, 10**6), load, SEABEDS).sel(seabed=SEABEDS)
    np.testing.assert_allclose(all_draws, exceeds, atol=1e-9)
    few = holding_chance(joint_draws(world_fit), load, SEABEDS).sel(seabed=SEABEDS)
    # 400 draws of a chance whose own spread is at most one half: four standard errors.
    np.testing.assert_allclose(few, exceeds, atol=4 * 0.5 / np.sqrt(400))


@pytest.mark.parametrize("scope", [1.5, 3.0, 5.0, 8.0])
@pytest.mark.parametrize(("length", "wind"), [(6.0, 8.0), (10.7, 15.0)])
def test_chances_on_a_rode_are_those_of_boat_at_that_scope(world_fit, length, wind, scope):
    answer = boat(world_fit, length_m=length, wind_mps=[wind], scope=scope)
    exceeds = answer["exceeds"].isel(wind_mps=0).sel(seabed=SEABEDS)
    load = float(answer["load_n"][0])
    on_rode = holding_chance(joint_draws(world_fit, 10**6), load, SEABEDS, scope).sel(seabed=SEABEDS)
    np.testing.assert_allclose(on_rode, exceeds, atol=1e-9)
    flat = holding_chance(joint_draws(world_fit, 10**6), load, SEABEDS).sel(seabed=SEABEDS)
    assert (on_rode <= flat + 1e-12).all() and float(abs(on_rode - flat).max()) > 1e-3


@pytest.mark.parametrize("scope", [None, 4.0])
@pytest.mark.parametrize("over_floor", [0.98, 1.02])
def test_below_what_its_own_weight_resists_every_pull_holds(world_fit, over_floor, scope):
    anchor = "A-10"
    draws = joint_draws(world_fit, 10**6)
    lead = straight(scope)
    tension = over_floor * least_load_n(draws_of(world_fit), float(draws["mass_kg"].sel(anchor=anchor)), lead)
    load = tension / tension_factor(lead)
    of_one_m2 = float(boat(world_fit, frontal_area_m2=1.0, wind_mps=[5.0])["load_n"][0])
    asked = boat(world_fit, frontal_area_m2=load / of_one_m2, wind_mps=[5.0], scope=scope)
    exceeds = asked["exceeds"].isel(wind_mps=0).sel(seabed=SEABEDS)
    chance = holding_chance(draws, load, SEABEDS, scope)
    np.testing.assert_allclose(chance.sel(seabed=SEABEDS), exceeds, atol=1e-9)
    sure = (chance.sel(anchor=anchor) == 1.0).to_numpy()
    assert (sure if over_floor < 1.0 else ~sure).all()


def test_draws_belong_together_and_come_from_every_chain(world_fit):
    draws = joint_draws(world_fit, 7)
    whole = world_fit.posterior["log_capacity"].transpose("chain", "draw", "anchor", "seabed").to_numpy()
    flat = whole.reshape(-1, *whole.shape[2:])
    got = draws["log_capacity"].to_numpy()
    places = [int(np.flatnonzero((flat == one).all(axis=(1, 2)))[0]) for one in got]
    assert len(set(places)) == 7 and places[0] == 0 and places[-1] == len(flat) - 1
    scatter = world_fit.posterior["pull_scatter"].transpose("chain", "draw", "seabed").to_numpy()
    np.testing.assert_array_equal(draws["pull_scatter"], scatter.reshape(-1, scatter.shape[2])[places])


def test_all_seabeds_together_is_no_more_than_the_worst(world_fit):
    chance = holding_chance(joint_draws(world_fit), 1500.0, SEABEDS)
    assert (chance.sel(seabed="") <= chance.sel(seabed=SEABEDS).min("seabed") + 1e-12).all()


def test_no_draws_are_refused(world_fit):
    with pytest.raises(ValueError, match="at least one draw"):
        joint_draws(world_fit, 0)

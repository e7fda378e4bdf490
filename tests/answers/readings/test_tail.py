"""One probability of a reading: against closed forms, the mixture itself and a simulation."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats

from holdcast.answers.draws.new_pull import NewPull
from holdcast.answers.draws.rode import ALONG_THE_BOTTOM, Geometry
from holdcast.answers.readings.expected import PulledFrom, level_probabilities, levels_n
from holdcast.answers.readings.tail import chance_up_to, tail_probability
from holdcast.physics.rode.loads import load_at_anchor
from holdcast.physics.rode.make_up import make_rode

DRAWS = 60
"""Few, since each brings a whole distribution."""
PROBABILITIES = level_probabilities()
AT_ANCHOR = PulledFrom(load_at="anchor")


def pull_of(geometry: Geometry = ALONG_THE_BOTTOM, *, sets: float = 1.0, visit: float = 1e-9) -> NewPull:
    """One anchor of 2000 N whose draws are all alike; it slides at 150 N when it does not set."""
    same = np.full(DRAWS, 1.0)
    return NewPull(
        np.log(2000.0) * same[None],
        visit * same,
        0.2 * same,
        sets * same[None],
        np.log(150.0) * same[None],
        0.4 * same,
        0.6 * same,
        geometry,
        np.zeros(1),
    )


def test_levels_without_a_visit_are_student_t_quantiles() -> None:
    """Witness: scipy's t."""
    expected = np.exp(np.log(2000.0) + 0.2 * stats.t(4).ppf(PROBABILITIES))
    np.testing.assert_allclose(levels_n(pull_of(), AT_ANCHOR)[0], expected, rtol=2e-3)


def test_levels_of_an_anchor_that_may_not_set_are_those_of_both_ways() -> None:
    """Witness: the two distributions by scipy, the visit by its adaptive quadrature."""
    levels = levels_n(pull_of(sets=0.7, visit=0.3), AT_ANCHOR)[0]
    for place in (3, 40, 80, 100, 130, 197):
        load = np.log(levels[place])
        held = integrate.quad(
            lambda z, at=load: stats.norm.pdf(z) * stats.t(4).cdf((at - np.log(2000.0) - 0.3 * z) / 0.2),
            *(-8, 8),
        )[0]
        below = 0.7 * held + 0.3 * stats.norm.cdf((load - np.log(150.0)) / 0.4)
        assert below == pytest.approx(PROBABILITIES[place], rel=0.01)


def test_levels_count_what_is_not_known_of_the_capacity() -> None:
    """Witness: a simulation of 600,000 pulls of draws that differ."""
    random = np.random.default_rng(3)
    capacity = np.log(2000.0) + 0.5 * random.standard_normal(3000)
    pull = replace(
        pull_of(),
        capacity=capacity[None],
        sets=np.full((1, 3000), 0.9),
        sliding=np.full((1, 3000), np.log(150.0)),
        **{
            name: np.full(3000, value)
            for name, value in {
                "visit_spread": 0.2,
                "pull_scatter": 0.2,
                "sliding_scatter": 0.4,
                "fall": 0.6,
            }.items()
        },
    )
    shape = (200, 3000)
    loads = capacity + 0.2 * random.standard_normal(shape) + 0.2 * random.standard_t(4, shape)
    slid = np.log(150.0) + 0.4 * random.standard_normal(shape)
    readings = np.exp(np.where(random.random(shape) < 0.9, loads, slid)).ravel()
    levels = levels_n(pull, AT_ANCHOR)[0]
    for probability in (0.01, 0.05, 0.5, 0.95):
        share = chance_up_to(np.quantile(readings, probability), levels, PROBABILITIES)
        # Every third draw is used, so the capacity's spread is known to 1 in √2000.
        assert share == pytest.approx(probability, rel=0.1, abs=0.005)


def test_a_reading_at_the_bow_is_the_load_at_the_anchor_and_what_the_rode_takes() -> None:
    """Carried up and down again by the statics of a rode, the chance stays the same."""
    rode = make_rode(6.0, 30.0, 2.5, 8.0, bow_height_m=1.0)
    pull = pull_of(Geometry(30.0 / 7.0, rode, ""), visit=0.2)
    bow, anchor = (levels_n(pull, PulledFrom(pull.geometry, place))[0] for place in ("bow", "anchor"))
    assert np.all(bow > anchor)
    np.testing.assert_allclose(load_at_anchor(bow, rode), anchor, rtol=1e-6)
    share = 1.0 - pull.chances(anchor[[20, 100, 180]])[0]
    np.testing.assert_allclose(share, PROBABILITIES[[20, 100, 180]], rtol=5e-3)
    # A pull that leads up breaks out at less than one along the bottom.
    assert anchor[100] < levels_n(pull_of(visit=0.2), AT_ANCHOR)[0][100]


@pytest.fixture(scope="module")
def levels() -> np.ndarray:
    return levels_n(pull_of(), AT_ANCHOR)[0]


def tail(levels: np.ndarray, held: float, released: float) -> float:
    return float(tail_probability(held, released, levels, PROBABILITIES))


def test_the_tail_of_an_exact_reading_is_twice_the_smaller_side(levels) -> None:
    """Witness: scipy's t."""
    for z in (-6.0, -2.0, -0.5, 0.7, 3.0):
        reading = 2000.0 * np.exp(0.2 * z)
        assert tail(levels, reading, reading) == pytest.approx(2.0 * stats.t(4).sf(abs(z)), rel=0.01)


def test_the_tail_of_a_load_known_in_part_is_the_largest_that_it_could_have(levels) -> None:
    low, high = 1500.0, 1700.0
    inside = np.linspace(low, high, 201)
    exact = tail_probability(inside, inside, levels, PROBABILITIES)
    assert tail(levels, low, high) == pytest.approx(exact.max())
    assert tail(levels, 1900.0, 2100.0) == 1.0  # the middle lies between
    assert tail(levels, 0.0, 1500.0) == tail(levels, 1500.0, 1500.0)
    assert tail(levels, 1500.0, np.inf) == 1.0  # held: as high as this or higher was likely
    assert tail(levels, 3000.0, np.inf) == tail(levels, 3000.0, 3000.0)


def test_beyond_the_levels_the_tail_is_the_least_that_can_be_told(levels) -> None:
    assert tail(levels, 9e8, 9e8) == pytest.approx(2.0 * PROBABILITIES[0], rel=1e-9)
    assert tail(levels, 0.0, 1e-3) == pytest.approx(2.0 * PROBABILITIES[0], rel=1e-9)
    assert 2.0 * PROBABILITIES[0] <= 0.001


def test_tails_of_exact_readings_are_uniform(levels) -> None:
    readings = 2000.0 * np.exp(0.2 * stats.t(4).rvs(4000, random_state=8))
    tails = tail_probability(readings, readings, levels, PROBABILITIES)
    assert stats.kstest(tails, "uniform").pvalue > 0.01
    # In steps of a tenth no load is called unusual more often than it should be.
    held = readings * 0.95
    assert (tail_probability(held, 1.1 * held, levels, PROBABILITIES) < 0.05).mean() <= 0.06


@pytest.mark.parametrize(("held", "released"), [(-1.0, 5.0), (10.0, 5.0)])
def test_impossible_loads_are_refused(levels, held, released) -> None:
    with pytest.raises(ValueError, match="no lower"):
        tail(levels, held, released)


def test_levels_do_not_go_below_the_load_that_every_pull_reaches() -> None:
    levels = levels_n(replace(pull_of(sets=0.5), floor_n=np.array([120.0])), AT_ANCHOR)[0]
    free = levels_n(pull_of(sets=0.5), AT_ANCHOR)[0]
    assert levels.min() == 120.0 and np.all(np.diff(levels) > 0.0)
    np.testing.assert_array_equal(levels[free > 121.0], free[free > 121.0])
    assert tail(levels, 0.0, 100.0) == pytest.approx(2.0 * PROBABILITIES[0])

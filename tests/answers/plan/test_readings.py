"""What one more pull tells: the scatter's information under a limit, and what a limit hides for good."""

import numpy as np
import pytest
from day_fits import SCATTER, SPOT, VISIT, day_fit
from scipy import integrate, stats

from holdcast.answers.draws.draws import draws_of
from holdcast.answers.plan.readings import cut_information, cut_mean, limit_n, new_readings

T4 = stats.t(4)


@pytest.mark.parametrize("z", [-6.0, -1.5, -0.3, 0.0, 0.8, 2.5, 8.0])
def test_information_of_a_cut_t_is_that_of_its_score(z: float) -> None:
    """Against quadrature of the squared score with scipy's t (computed)."""

    def squared_score(t: float) -> float:
        return float((5.0 * t / (4.0 + t * t)) ** 2 * T4.pdf(t))

    below = integrate.quad(squared_score, -np.inf, z, epsabs=1e-12)[0]
    expected = below + T4.pdf(z) ** 2 / T4.sf(z)
    assert cut_information(np.array(z)) == pytest.approx(expected, abs=1e-8)


def test_information_without_a_cut_is_five_sevenths() -> None:
    """(ν + 1) / (ν + 3) for ν = 4: Lange, Little & Taylor 1989 (value from memory)."""
    assert cut_information(np.array(1e5)) == pytest.approx(5.0 / 7.0, abs=1e-6)
    values = cut_information(np.linspace(-8.0, 8.0, 200))
    assert (np.diff(values) > 0.0).all(), "a higher limit never tells less"


@pytest.mark.parametrize("z", [-3.0, 0.0, 1.2, 5.0])
def test_mean_of_a_cut_t(z: float) -> None:
    below = integrate.quad(lambda t: t * T4.pdf(t), -np.inf, z)[0]
    assert cut_mean(np.array(z)) == pytest.approx(below + z * T4.sf(z), abs=1e-8)


def test_far_below_the_limit_a_pull_has_the_noise_of_its_scatter() -> None:
    high = [("A0", "s0", "v1", 1e6, 1.1e6)]
    readings = new_readings(draws_of(day_fit(rows=high)))
    each = SCATTER**2 * 7.0 / 5.0
    for pulls in (1, 2, 6):
        assert readings.noise.sel(pulls=pulls).to_numpy() == pytest.approx(each / pulls, rel=0.02)
    assert readings.blur.to_numpy() == pytest.approx(SPOT**2, rel=0.02)
    assert readings.visit == pytest.approx(VISIT**2)


def test_a_boat_that_can_pull_little_learns_little() -> None:
    low, high = (
        new_readings(draws_of(day_fit(rows=[("A0", "s0", "v1", load, 1.01 * load)])))
        for load in (1500.0, 1e6)
    )
    assert (low.noise > high.noise).all() and (low.blur > high.blur).all()
    strongest = int(low.cut.to_numpy().argmax())
    assert low.cut.to_numpy().ravel()[strongest] > 0.5
    assert low.blur.to_numpy().ravel()[strongest] > 3.0 * SPOT**2, "what lies above stays hidden"


def test_what_a_limit_hides_is_the_error_of_the_best_straight_line() -> None:
    """A normal middle cut at its mean, without scatter: r² = 0.25 / (0.5 - 1 / 2π) (computed)."""
    from holdcast.answers.plan.readings import _hidden

    middle = np.random.default_rng(3).normal(0.0, 0.4, (200_000, 1))
    share = 0.25 / (0.5 - 0.5 / np.pi)
    assert _hidden(middle, np.minimum(middle, 0.0)) == pytest.approx(0.16 * (1.0 / share - 1.0), rel=0.03)


@pytest.mark.parametrize("pulls", [1, 3])
def test_an_anchor_that_seldom_sets_tells_seldom(pulls: int) -> None:
    """Against the sum over how many of a visit's pulls set, beta-binomial by scipy (computed)."""
    fit = day_fit(rows=[("A0", "s0", "v1", 1e6, 1.1e6)])
    fit.tree["posterior"]["sets_log_odds"].loc[{"anchor": "A1"}] = 0.0
    readings = new_readings(draws_of(fit))
    assert float(readings.sets.sel(anchor="A1", seabed="s0")) == pytest.approx(0.5)
    capacity = float(fit.posterior["log_capacity"].sel(anchor="A1", seabed="s0").var())
    spread = capacity + VISIT**2 + SPOT**2
    number = np.arange(1, pulls + 1)
    chances = stats.betabinom(pulls, 3.0, 3.0).pmf(number)
    each = SCATTER**2 * 7.0 / 5.0
    taken = (chances * capacity / (spread + each / number)).sum()
    noise = float(readings.noise.sel(anchor="A1", seabed="s0", pulls=pulls))
    assert capacity / (spread + noise) == pytest.approx(taken, rel=0.03)


def test_limit_is_the_highest_load_of_the_log_as_read() -> None:
    rows = [("A0", "s0", "v1", 1500.0, 1700.0), ("A1", "s0", "v1", 2500.0, np.inf)]
    assert limit_n(draws_of(day_fit(rows=rows))) == 2500.0

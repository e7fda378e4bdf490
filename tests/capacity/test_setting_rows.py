"""Whether each pull set, weighed: against scipy's tails, and against all ways in which pulls can have set."""

import itertools

import numpy as np
import pytest
import xarray as xr
from numpy.typing import NDArray
from scipy import integrate, special, stats

from holdcast.capacity.likelihood.interval_rows import ABOVE, BELOW, BETWEEN, EXACT
from holdcast.capacity.likelihood.setting_rows import (
    DID_NOT_SET,
    NOT_SAID,
    SET,
    UNREAD,
    log_chance_all_set,
    room_for,
    sliding_row,
    weigh_one,
    weigh_setting,
)
from holdcast.capacity.pointwise.setting import sliding_log_likelihood, weigh_draws

Numbers = NDArray[np.float64]
KINDS = (EXACT, BELOW, ABOVE, BETWEEN)
ENDS = [(z, z + width) for z in (-40.0, -20.0, -9.0, -8.0, -3.0, -0.5, 0.0, 0.4, 7.9, 9.0, 20.0, 38.0)
        for width in (0.1, 2.0)] + [(-9.0, 12.0), (-0.3, 0.3)]  # fmt: skip


def scipy_row(kind: int, low: float, high: float) -> float:
    """Return the log probability of a reading under the standard normal, by scipy."""
    if kind == BETWEEN:
        far, near = (-high, -low) if low + high > 0.0 else (low, high)
        log_near = stats.norm.logcdf(near)
        return float(log_near + np.log(-np.expm1(stats.norm.logcdf(far) - log_near)))
    return float(
        {EXACT: stats.norm.logpdf(high), BELOW: stats.norm.logcdf(high), ABOVE: stats.norm.logsf(low)}[kind]
    )


@pytest.mark.parametrize("kind", KINDS)
def test_sliding_rows_are_scipys_to_40_standard_deviations(kind: int) -> None:
    for low, high in ENDS:
        value = sliding_row(kind, low, high)[0]
        assert value == pytest.approx(scipy_row(kind, low, high), rel=1e-6, abs=2e-5), (low, high)


@pytest.mark.parametrize("kind", KINDS)
def test_slopes_of_sliding_rows_are_those_of_scipy(kind: int) -> None:
    step = 1e-5
    for low, high in ENDS:
        _, by_low, by_high = sliding_row(kind, low, high)
        if kind != EXACT:
            across = scipy_row(kind, low + step, high) - scipy_row(kind, low - step, high)
            assert by_low == pytest.approx(across / (2 * step), rel=1e-4, abs=1e-4), (low, high)
        across = scipy_row(kind, low, high + step) - scipy_row(kind, low, high - step)
        assert by_high == pytest.approx(across / (2 * step), rel=1e-4, abs=1e-4), (low, high)


def test_a_pull_without_a_reading_says_nothing_of_sliding() -> None:
    assert sliding_row(UNREAD, 3.0, 3.0) == (0.0, 0.0, 0.0)


# --- Pulls of one spot ---------------------------------------------------------------------------------


def branches(case: str, pulls: int) -> tuple[Numbers, Numbers]:
    """Return log likelihoods if set and if not; in two cases some pulls are known to be of one branch."""
    random = np.random.default_rng(pulls)
    log_set, log_slid = random.normal(-1.0, 1.0, pulls), random.normal(-2.0, 1.0, pulls)
    if case == "some known":
        log_slid[::3], log_set[1::3] = -np.inf, -np.inf
    if case == "all set":
        log_slid[:] = -np.inf
    if case == "none set":
        log_set[:] = -np.inf
    if case == "far apart":
        log_set[::2] -= 700.0
        log_slid[1::2] -= 700.0
    return log_set, log_slid


def enumerated(
    log_set: Numbers, log_slid: Numbers, odds: float, concentration: float
) -> tuple[float, Numbers]:
    """Return the log likelihood over all ways of setting, and each pull's chance of having set.

    The chance of one way in which r of n set is B(pc + r, (1 - p)c + n - r) / B(pc, (1 - p)c).
    """
    chance, pulls = special.expit(odds), len(log_set)
    first, second = chance * concentration, (1.0 - chance) * concentration
    ways = np.array(list(itertools.product([0, 1], repeat=pulls)))
    number = ways.sum(axis=1)
    prior = special.betaln(first + number, second + pulls - number) - special.betaln(first, second)
    logs = prior + np.where(ways == 1, log_set, log_slid).sum(axis=1)
    total = float(special.logsumexp(logs))
    return total, np.exp(logs - total) @ ways


def weighed(log_set: Numbers, log_slid: Numbers, odds: float, concentration: float) -> tuple[float, ...]:
    return weigh_setting(log_set.copy(), log_slid.copy(), odds, concentration, *room_for(len(log_set)))


CASES = ("open", "some known", "all set", "none set", "far apart")


@pytest.mark.parametrize("pulls", [1, 2, 5, 9])
@pytest.mark.parametrize("case", CASES)
def test_a_spot_is_the_sum_over_all_ways_of_setting(case: str, pulls: int) -> None:
    log_set, log_slid = branches(case, pulls)
    for odds, concentration in ((0.7, 3.0), (-2.0, 0.4), (4.0, 40.0)):
        total, had_set = enumerated(log_set, log_slid, odds, concentration)
        changed = log_set.copy()
        found = weigh_setting(changed, log_slid.copy(), odds, concentration, *room_for(pulls))
        assert found[0] == pytest.approx(total, rel=1e-12)
        np.testing.assert_allclose(changed, had_set, rtol=1e-9, atol=1e-12)
        step = 1e-5
        for place, moved in ((1, (odds + step, concentration)), (2, (odds, concentration + step))):
            back = (2 * odds - moved[0], 2 * concentration - moved[1])
            across = enumerated(log_set, log_slid, *moved)[0] - enumerated(log_set, log_slid, *back)[0]
            assert found[place] == pytest.approx(across / (2 * step), rel=1e-4, abs=1e-7)


@pytest.mark.parametrize("case", CASES)
def test_a_single_pull_is_a_spot_of_one(case: str) -> None:
    log_set, log_slid = branches(case, 1)
    for odds in (0.7, -2.0, 4.0):
        had_set = log_set.copy()
        likelihood, slope, by_concentration = weigh_setting(had_set, log_slid.copy(), odds, 3.0, *room_for(1))
        found = weigh_one(log_set[0], log_slid[0], odds)
        np.testing.assert_allclose(found, (likelihood, slope, had_set[0]), rtol=1e-12, atol=1e-15)
        assert by_concentration == pytest.approx(0.0, abs=1e-15)


def test_weighing_a_spot_counts_no_array() -> None:
    """A locked count of who holds an array costs more than a pull's arithmetic."""
    weighed(*branches("open", 2), 0.7, 3.0)
    assert "NRT_" not in "".join(weigh_setting.inspect_llvm().values())
    assert "NRT_" in "".join(room_for.inspect_llvm().values())  # the check can fail


@pytest.mark.parametrize("pulls", [1, 3, 8])
def test_pulls_that_all_set_need_no_weighing(pulls: int) -> None:
    log_set, log_slid = branches("all set", pulls)
    log_chance, by_odds, by_concentration = log_chance_all_set(pulls, 0.7, 3.0)
    found = weighed(log_set, log_slid, 0.7, 3.0)
    np.testing.assert_allclose((log_set.sum() + log_chance, by_odds, by_concentration), found, 1e-12, 1e-14)


@pytest.mark.parametrize("case", ["open", "some known"])
def test_a_spot_is_the_integral_over_its_own_chance(case: str) -> None:
    """Quadrature: pulls are independent given the visit's own chance, which is of a beta distribution."""
    log_set, log_slid = branches(case, 4)
    chance, concentration = special.expit(0.7), 3.0
    own = stats.beta(chance * concentration, (1.0 - chance) * concentration)

    def likelihood(at: float) -> float:
        return float(np.prod(at * np.exp(log_set) + (1.0 - at) * np.exp(log_slid)) * own.pdf(at))

    area, _ = integrate.quad(likelihood, 0.0, 1.0, epsabs=0.0, epsrel=1e-7)
    assert weighed(log_set, log_slid, 0.7, concentration)[0] == pytest.approx(np.log(area), rel=1e-6)


@pytest.mark.parametrize("case", CASES)
def test_the_order_of_pulls_does_not_matter(case: str) -> None:
    log_set, log_slid = branches(case, 6)
    turned = np.array([4, 0, 5, 2, 1, 3])
    found, again = (weighed(log_set[at], log_slid[at], 0.3, 2.0) for at in (slice(None), turned))
    np.testing.assert_allclose(again, found, rtol=1e-10)


def test_pulls_that_failed_go_together_where_the_concentration_is_small() -> None:
    """Ten failures of ten are likelier of one fouled anchor than of ten tosses of a coin."""
    log_set, log_slid = branches("none set", 10)
    together, apart = (weighed(log_set, log_slid, 0.0, c)[0] for c in (1.0, 1e6))
    assert together - apart > 4.0
    assert apart - log_slid.sum() == pytest.approx(-10.0 * np.log(2.0), abs=1e-4)


# --- The same, draw by draw ----------------------------------------------------------------------------


def two_spots() -> tuple[xr.Dataset, Numbers, Numbers, Numbers, Numbers]:
    """Three draws of six pulls on two spots, interleaved, and a spot without any."""
    order = np.array([0, 2, 3, 5, 1, 4])
    inputs = xr.Dataset(
        {
            "spot_first": ("spot", [0, 4, 4]),
            "spot_pulls": ("spot", [4, 0, 2]),
            "pull_order": ("trial", order),
        }
    )
    random = np.random.default_rng(3)
    log_set, log_slid = random.normal(-1.0, 1.0, (3, 6)), random.normal(-2.0, 1.0, (3, 6))
    log_slid[:, 2], log_set[:, 4] = -np.inf, -np.inf
    return inputs, log_set, log_slid, random.normal(1.0, 1.0, (3, 3)), random.uniform(1.0, 9.0, 3)


def test_draws_are_weighed_as_the_model_weighs_them() -> None:
    inputs, log_set, log_slid, odds, concentration = two_spots()
    found = weigh_draws(log_set, log_slid, odds, concentration, inputs)
    for draw, (spot, pulls) in itertools.product(range(3), ((0, [0, 2, 3, 5]), (2, [1, 4]))):
        at = log_set[draw, pulls], log_slid[draw, pulls], odds[draw, spot], concentration[draw]
        total, had_set = enumerated(*at)
        assert found.in_turn[draw, pulls].sum() == pytest.approx(total, rel=1e-12)
        assert weighed(*at)[0] == pytest.approx(total, rel=1e-12)
        np.testing.assert_allclose(found.had_set[draw, pulls], had_set, rtol=1e-9, atol=1e-12)
        for place, pull in enumerate(pulls):
            others = [other for other in range(len(pulls)) if other != place]
            without = enumerated(at[0][others], at[1][others], *at[2:])[0]
            assert found.given_others[draw, pull] == pytest.approx(total - without, rel=1e-9)
            # Without its own reading: as if it fitted both branches equally well.
            silent = [branch.copy() for branch in at[:2]]
            silent[0][place] = silent[1][place] = 0.0
            expected = enumerated(*silent, *at[2:])[1][place]
            assert found.expected[draw, pull] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("setting", [NOT_SAID, SET, DID_NOT_SET])
def test_readings_of_pulls_that_slid_are_those_of_the_models_rows(setting: int) -> None:
    kind = np.array([*KINDS, UNREAD])
    lower = np.array([5.0, 5.0, 5.0, 4.6, 0.0])
    upper = np.array([5.0, 5.0, 5.0, 5.3, 0.0])
    inputs = xr.Dataset(
        {"kind": ("trial", kind), "setting": ("trial", np.full(5, setting)),
         "lower": ("trial", lower), "upper": ("trial", upper)}
    )  # fmt: skip
    middle, scatter = np.full((2, 5), 4.7), np.full((2, 5), 0.4)
    found = sliding_log_likelihood(middle, scatter, inputs)
    for place, each in enumerate(kind):
        row = sliding_row(each, (lower[place] - 4.7) / 0.4, (upper[place] - 4.7) / 0.4)[0]
        expected = row - np.log(0.4) * (each == EXACT)
        if setting == SET and each == ABOVE:
            expected = -np.inf
        np.testing.assert_allclose(found[:, place], expected, rtol=1e-9)

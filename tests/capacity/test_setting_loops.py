"""The likelihoods of pulls, resets and veers: slopes, single rows by scipy, and what must not matter."""

import itertools
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from numpy.typing import NDArray
from pytensor.compile.mode import Mode
from scipy import integrate, special, stats

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.likelihood.interval_rows import ABOVE, BELOW, BETWEEN, EXACT, STUDENT_T, Distribution
from holdcast.capacity.likelihood.log_likelihoods import TESTS, log_likelihood_of
from holdcast.capacity.likelihood.setting_rows import DID_NOT_SET, NOT_SAID, SET, UNREAD
from holdcast.capacity.sampler.refitting import hide_pulls, hide_resets_and_veers

from .conftest import assert_slopes_are_differences

Arrays = Mapping[str, NDArray[Any]]
KINDS = (EXACT, BELOW, ABOVE, BETWEEN)


@pytest.fixture(scope="module")
def value(plain_mode: Mode) -> Callable[..., float]:
    """Return the log likelihood of one kind of test at arrays, for either scatter."""

    def value(test: str, effects: Arrays, data: Arrays, distribution: Distribution = STUDENT_T) -> float:
        graph = log_likelihood_of(test, effects, data, distribution)
        return float(pytensor.function([], graph, mode=plain_mode)())

    return value


@pytest.mark.parametrize("test", TESTS)
def test_slopes_are_those_of_finite_differences(test: str, world: Any, plain_mode: Mode) -> None:
    assert_slopes_are_differences(test, world.effects, world.data, plain_mode)


# --- Pulls ---------------------------------------------------------------------------------------------

HERE: dict[str, NDArray[Any]] = {
    "capacity": np.array([[7.0]]), "visit": np.array([0.1]), "spot": np.array([-0.05]),
    "scatter": np.array([0.3]), "fall": np.array(0.0), "rate": np.array([0.1]),
    "odds": np.array([[0.8]]), "odds_again": np.array([[-0.3]]), "concentration": np.array(4.0),
    "sliding": np.array([5.0]), "sliding_scatter": np.array(0.5), "turn": np.array([[0.4]]),
    "spot_spread": np.array(0.2),
}  # fmt: skip
"""One anchor in one seabed on one visit; its pulls have the middle 7.05 if it set, 5 if not."""
MIDDLE, SCALE, SLIDES, SLIDING_SCATTER = 7.05, 0.3, 5.0, 0.5


def pulls_here(*rows: tuple[int, int, float, float]) -> dict[str, NDArray[Any]]:
    """Return the data of pulls on that spot, each (kind, setting, lower, upper)."""
    kind, setting, lower, upper = (np.array(column) for column in zip(*rows, strict=True))
    number = len(rows)
    none = dict.fromkeys(("fall_lower", "fall_upper", "fall_slope", "speed"), np.zeros(number))
    places = dict.fromkeys(("spot_anchor", "spot_seabed", "spot_visit", "spot_first"), np.array([0]))
    return {
        **places, **none, "spot_alone": np.array([0]),
        "spot_pulls": np.array([number]), "pull_order": np.arange(number),
        "kind": kind, "setting": setting, "lower": lower.astype(float), "upper": upper.astype(float),
    }  # fmt: skip


def by_scipy(law: Any, kind: int, low: float, high: float) -> float:
    """Return the density of an exact reading, the probability of another."""
    if kind == UNREAD:
        return 1.0
    return float(
        {
            EXACT: law.pdf(high),
            BELOW: law.cdf(high),
            ABOVE: law.sf(low),
            BETWEEN: law.cdf(high) - law.cdf(low),
        }[kind]
    )


@pytest.mark.parametrize("scatter", ["Student t", "normal"])
@pytest.mark.parametrize("setting", [NOT_SAID, SET, DID_NOT_SET])
@pytest.mark.parametrize("kind", [*KINDS, UNREAD])
def test_one_pull_is_a_mixture_of_scipys(
    kind: int, setting: int, scatter: str, normal_scatter: Distribution, value: Callable[..., float]
) -> None:
    if kind == UNREAD and setting == SET:
        pytest.skip("an anchor that set has a load")
    distribution = STUDENT_T if scatter == "Student t" else normal_scatter
    held = stats.t(4, MIDDLE, SCALE) if scatter == "Student t" else stats.norm(MIDDLE, SCALE)
    slid, chance = stats.norm(SLIDES, SLIDING_SCATTER), special.expit(0.8)
    for low, width in itertools.product((4.5, 5.5, 6.3, 7.2), (0.1, 1.0)):
        low, high = (low, low) if kind in (EXACT, BELOW, ABOVE) else (low, low + width)
        # A pull of which no load was read is one that did not set; one stopped while it held is one that did.
        as_set = by_scipy(held, kind, low, high) * (kind != UNREAD)
        as_slid = by_scipy(slid, kind, low, high) * (setting != SET or kind != ABOVE)
        if setting == DID_NOT_SET or (setting == SET and kind != ABOVE):  # one word in fifty is a slip
            as_set *= 0.98 if setting == SET else 0.02
            as_slid *= 0.98 if setting == DID_NOT_SET else 0.02
        if kind == UNREAD and setting == NOT_SAID:
            continue
        expected = np.log(chance * as_set + (1.0 - chance) * as_slid)
        data = pulls_here((kind, setting, low, high))
        assert value("pull", HERE, data, distribution) == pytest.approx(expected, rel=1e-7, abs=1e-9)


def test_two_censored_normals_are_their_mixtures_area(
    normal_scatter: Distribution, value: Callable[..., float]
) -> None:
    """Quadrature of the mixture's density over the interval a reading leaves open."""
    chance = special.expit(0.8)

    def density(load: float) -> float:
        held = stats.norm.pdf(load, MIDDLE, SCALE)
        return float(chance * held + (1.0 - chance) * stats.norm.pdf(load, SLIDES, SLIDING_SCATTER))

    for kind, low, high in ((BELOW, 5.2, 5.2), (ABOVE, 6.8, 6.8), (BETWEEN, 5.1, 7.0)):
        start = -5.0 if kind == BELOW else low
        end = 20.0 if kind == ABOVE else high
        area, _ = integrate.quad(density, start, end, points=[SLIDES, MIDDLE], epsrel=1e-10)
        found = value("pull", HERE, pulls_here((kind, NOT_SAID, low, high)), normal_scatter)
        assert found == pytest.approx(np.log(area), rel=1e-8)


def test_pulls_of_one_spot_share_its_own_chance(
    normal_scatter: Distribution, value: Callable[..., float]
) -> None:
    """Quadrature over the visit's own chance, of three censored readings."""
    rows = [(BETWEEN, NOT_SAID, 4.8, 5.2), (ABOVE, NOT_SAID, 6.0, 6.0), (BELOW, NOT_SAID, 5.9, 5.9)]
    held, slid = stats.norm(MIDDLE, SCALE), stats.norm(SLIDES, SLIDING_SCATTER)
    pairs = [[by_scipy(law, kind, low, high) for law in (held, slid)] for kind, _, low, high in rows]
    chance = special.expit(0.8)
    own = stats.beta(4.0 * chance, 4.0 * (1.0 - chance))
    area, _ = integrate.quad(
        lambda at: own.pdf(at) * np.prod([at * a + (1.0 - at) * b for a, b in pairs]), 0.0, 1.0, epsrel=1e-9
    )
    assert value("pull", HERE, pulls_here(*rows), normal_scatter) == pytest.approx(np.log(area), rel=1e-7)


def test_a_load_far_above_sliding_is_judged_by_what_was_said(value: Callable[..., float]) -> None:
    """Said not to have set, far above its sliding load: more likely a slip of the pen, no contradiction."""
    high = SLIDES + 8.0 * SLIDING_SCATTER
    for kind, log_probability in (
        (ABOVE, stats.norm.logsf(8.0)),
        (EXACT, stats.norm.logpdf(8.0) - np.log(SLIDING_SCATTER)),
    ):
        if_set = by_scipy(stats.t(4, MIDDLE, SCALE), kind, high, high)
        chance = special.expit(0.8)
        expected = np.log(0.98 * (1.0 - chance) * np.exp(log_probability) + 0.02 * chance * if_set)
        found = value("pull", HERE, pulls_here((kind, DID_NOT_SET, high, high)))
        assert found == pytest.approx(expected, rel=1e-6)


def test_the_order_of_pulls_on_a_spot_does_not_matter(world: Any, value: Callable[..., float]) -> None:
    order = world.data["pull_order"].copy()
    for first, number in zip(world.data["spot_first"], world.data["spot_pulls"], strict=True):
        order[first : first + number] = order[first : first + number][::-1]
    assert not np.array_equal(order, world.data["pull_order"])
    found = value("pull", world.effects, {**world.data, "pull_order": order})
    assert found == pytest.approx(value("pull", world.effects, world.data), rel=1e-10)


def test_hidden_pulls_tell_nothing(setting_campaign: Campaign, value: Callable[..., float]) -> None:
    """As if those rows were not in the log, whatever moves it; of a spot hidden whole nothing is left."""
    inputs = lay_out(setting_campaign)
    sizes = inputs.sizes
    random = np.random.default_rng(6)
    cells = (sizes["anchor"], sizes["seabed"])
    effects = {
        "capacity": random.normal(7.2, 0.4, cells), "visit": random.normal(0.0, 0.2, sizes["visit"]),
        "spot": random.normal(0.0, 0.1, sizes["spot"]), "scatter": random.uniform(0.2, 0.4, sizes["seabed"]),
        "fall": np.array(0.5), "rate": random.uniform(0.05, 0.2, sizes["seabed"]),
        "odds": random.normal(1.5, 1.0, cells), "concentration": np.array(5.0),
        "sliding": inputs["log_weight"].to_numpy(), "sliding_scatter": np.array(0.5),
        "spot_spread": np.array(0.15),
    }  # fmt: skip
    hidden = (inputs["spot_of"] % 3 == 0).to_numpy() | (random.random(sizes["trial"]) < 0.3)
    blind = {str(name): array.to_numpy() for name, array in hide_pulls(inputs, hidden).data_vars.items()}
    shown = {str(name): array.to_numpy() for name, array in inputs.data_vars.items()}
    spot_of = inputs["spot_of"].to_numpy()[~hidden]
    number = np.bincount(spot_of, minlength=sizes["spot"])
    for name in ("kind", "setting", "lower", "upper", "fall_lower", "fall_upper", "fall_slope", "speed"):
        shown[name] = shown[name][~hidden]
    shown |= {"pull_order": np.argsort(spot_of, kind="stable"), "spot_pulls": number,
              "spot_first": np.concatenate([[0], np.cumsum(number)[:-1]])}  # fmt: skip
    assert value("pull", effects, blind) == pytest.approx(value("pull", effects, shown), rel=1e-9)
    none = hide_pulls(inputs, np.ones(sizes["trial"], dtype=bool))
    nothing = value("pull", effects, {str(name): array.to_numpy() for name, array in none.data_vars.items()})
    assert nothing == pytest.approx(0.0, abs=1e-8)


@pytest.mark.parametrize("test", ["reset", "veer"])
def test_hidden_resets_and_veers_tell_nothing(
    test: str, setting_campaign: Campaign, value: Callable[..., float]
) -> None:
    """As if those rows were not in the log, and they no longer steer the level of setting."""
    inputs = lay_out(setting_campaign)
    sizes, random = inputs.sizes, np.random.default_rng(6)
    cells = (sizes["anchor"], sizes["seabed"])
    effects = {
        "capacity": random.normal(7.2, 0.4, cells), "visit": random.normal(0.0, 0.2, sizes["visit"]),
        "spot": random.normal(0.0, 0.1, sizes["spot"]), "scatter": random.uniform(0.2, 0.4, sizes["seabed"]),
        "fall": np.array(0.5), "rate": random.uniform(0.05, 0.2, sizes["seabed"]),
        "odds": random.normal(1.5, 1.0, cells), "odds_again": random.normal(0.5, 1.0, cells),
        "concentration": np.array(5.0), "turn": random.uniform(0.1, 0.5, cells),
    }  # fmt: skip
    masks = {kind: np.arange(sizes[kind]) % 2 == 0 for kind in ("reset", "veer")}
    hidden = hide_resets_and_veers(inputs, masks["reset"], masks["veer"])
    blind, shown = (
        {str(name): array.to_numpy() for name, array in each.data_vars.items()}
        for each in (hidden, inputs.isel({test: np.flatnonzero(~masks[test])}))
    )
    assert sizes[test] > 1
    assert value(test, effects, blind) == pytest.approx(value(test, effects, shown), rel=1e-9, abs=1e-9)
    assert value(test, effects, blind) != pytest.approx(
        value(test, effects, {str(name): array.to_numpy() for name, array in inputs.data_vars.items()})
    )
    assert float(hidden["set_weight"].sum()) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="one entry for each of"):
        hide_resets_and_veers(inputs, np.zeros(99, dtype=bool), masks["veer"])


# --- Resets --------------------------------------------------------------------------------------------


def resets_here(attempts: int, successes: int, held: float | None = None, reversal: float = 1.0) -> Arrays:
    places = dict.fromkeys(("reset_spot", "reset_anchor", "reset_seabed", "reset_visit"), np.array([0]))
    return {
        **places, "attempts": np.array([attempts]), "successes": np.array([successes]),
        "reset_judged": np.array([int(held is not None)]), "reset_held": np.array([held or 0.0]),
        "reset_fall": np.array([0.0]), "reversal": np.array([reversal]),
    }  # fmt: skip


@pytest.mark.parametrize("successes", range(7))
@pytest.mark.parametrize(("held", "reversal"), [(None, 1.0), (None, 0.5), (6.8, 1.0), (7.6, 1.0)])
def test_resets_are_scipys_beta_binomial(
    successes: int, held: float | None, reversal: float, value: Callable[..., float]
) -> None:
    """A success digs in and then exceeds the load it is judged by: the chance is their product."""
    chance = special.expit((1.0 - reversal) * 0.8 - reversal * 0.3)
    if held is not None:
        chance *= stats.t.sf((held - MIDDLE) / SCALE, 4)
    law = stats.betabinom(6, 4.0 * chance, 4.0 * (1.0 - chance))
    found = value("reset", HERE, resets_here(6, successes, held, reversal))
    constant = np.log(special.comb(6, successes))
    assert found + constant == pytest.approx(law.logpmf(successes), rel=1e-9, abs=1e-10)


def test_chances_of_all_counts_add_up_to_one(value: Callable[..., float]) -> None:
    counts = np.arange(11)
    logs = np.array([value("reset", HERE, resets_here(10, int(k), 6.9)) for k in counts])
    assert (special.comb(10, counts) * np.exp(logs)).sum() == pytest.approx(1.0, rel=1e-10)


# --- Veers ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_a_veer_is_a_straight_pull_at_the_load_before_the_turn(
    kind: int, value: Callable[..., float]
) -> None:
    """What is left after a turn of θ is exp(-τ θ / 90 degrees) of the load of a straight pull."""
    low, high = (6.2, 6.5) if kind == BETWEEN else (6.4, 6.4)
    turned = (2.0, 2.0) if kind != BETWEEN else (0.5, 0.75)
    places = dict.fromkeys(("veer_spot", "veer_anchor", "veer_seabed", "veer_visit"), np.array([0]))
    names = ("veer_fall_lower", "veer_fall_upper", "veer_fall_slope", "veer_speed")
    veer = {
        **places, **dict.fromkeys(names, np.array([0.0])), "veer_kind": np.array([kind]),
        "veer_lower": np.array([low]), "veer_upper": np.array([high]),
        "turn_lower": np.array([turned[0]]), "turn_upper": np.array([turned[1]]),
    }  # fmt: skip
    straight = pulls_here((kind, SET, low + 0.4 * turned[0], high + 0.4 * turned[1]))
    surely_set = {**HERE, "sliding": np.array([1000.0])}
    said = 1.0 if kind == ABOVE else 0.98  # that it set, as it did; one that was stopped needs no word
    expected = value("pull", surely_set, straight) - np.log(said * special.expit(0.8))
    assert value("veer", HERE, veer) == pytest.approx(expected, rel=1e-10)


# --- Edges ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("test", "short"), [(test, column) for test in ("reset", "veer") for column in TESTS[test].columns]
)
def test_columns_of_unequal_length_are_refused(
    test: str, short: str, world: Any, value: Callable[..., float]
) -> None:
    data = {**world.data, short: world.data[short][:-1]}
    with pytest.raises(ValueError, match=f"one entry for every {test}"):
        value(test, world.effects, data)


@pytest.mark.parametrize("test", TESTS)
def test_no_tests_tell_nothing(test: str, world: Any, plain_mode: Mode) -> None:
    none = {name: world.data[name][:0] for name in TESTS[test].columns}
    capacity = pt.dmatrix("capacity")
    total = log_likelihood_of(test, {**world.effects, "capacity": capacity}, none)
    evaluate = pytensor.function([capacity], [total, pytensor.grad(total, capacity)], mode=plain_mode)
    found, slope = evaluate(world.effects["capacity"])
    assert found == 0.0
    np.testing.assert_array_equal(slope, 0.0)


@pytest.mark.parametrize("test", TESTS)
def test_a_missing_effect_is_named(test: str, world: Any) -> None:
    effects = {name: array for name, array in world.effects.items() if name != "spot"}
    with pytest.raises(KeyError, match="spot"):
        log_likelihood_of(test, effects, world.data)

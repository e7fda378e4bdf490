"""New tests are weighed without slopes, what does not move apart: against the fit's own likelihood."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from numpy.typing import NDArray
from pytensor.compile.mode import Mode

from holdcast.capacity.likelihood.kinds import ABOVE, BETWEEN, DID_NOT_SET, EXACT, NOT_SAID, SET, UNREAD
from holdcast.capacity.likelihood.log_likelihoods import TESTS, log_likelihood_of
from holdcast.capacity.likelihood.pull_loop import ALONE
from holdcast.capacity.pointwise.new_tests import Effects, NewSpots, new_log_likelihood

from .conftest import world_of_tests

Arrays = Mapping[str, NDArray[Any]]
DRAWS, PULLS = 150, 70
OF_PULLS = ("kind", "setting", "lower", "upper", "fall_lower", "fall_upper", "fall_slope", "speed")


@pytest.fixture(scope="module")
def draws() -> list[Arrays]:
    """What each of many draws says, far apart from each other."""
    random = np.random.default_rng(11)
    worlds = []
    for seed in range(DRAWS):
        effects = world_of_tests(seed).effects
        effects["capacity"] = effects["capacity"] + random.normal(0.0, 0.5)
        effects["scatter"] = effects["scatter"] * random.choice([0.3, 1.0, 2.0])
        effects["concentration"] = np.array(random.choice([0.5, 5.0, 60.0]))
        effects["fall"] = np.array(random.uniform(0.0, 1.0))
        worlds.append(effects)
    return worlds


@pytest.fixture(scope="module")
def data() -> dict[str, NDArray[Any]]:
    """Pulls of every kind with every word, resets and veers; ends that drag speed brings too close."""
    random = np.random.default_rng(12)
    data = world_of_tests(3, PULLS).data
    kind, setting = data["kind"], data["setting"]
    word = random.choice([NOT_SAID, SET, DID_NOT_SET], PULLS)
    setting = np.where(kind == UNREAD, DID_NOT_SET, word)
    narrow = (kind == BETWEEN) & (random.random(PULLS) < 0.3)
    of = set(zip(kind.tolist(), setting.tolist(), strict=True))
    assert {(ABOVE, SET), (ABOVE, DID_NOT_SET), (EXACT, DID_NOT_SET), (UNREAD, DID_NOT_SET)} <= of
    return data | {"setting": setting, "upper": np.where(narrow, data["lower"] + 0.001, data["upper"])}


@pytest.fixture(scope="module")
def of_the_fit(draws: list[Arrays], plain_mode: Mode) -> Callable[[str, Arrays], NDArray[np.float64]]:
    """Return the fit's log likelihood of one kind of test for each draw."""

    def likelihood(test: str, data: Arrays) -> NDArray[np.float64]:
        names = TESTS[test].effects
        symbols = {name: pt.as_tensor_variable(draws[0][name]).type(name) for name in names}
        evaluate = pytensor.function(
            list(symbols.values()), log_likelihood_of(test, symbols, data), mode=plain_mode
        )
        return np.array([float(evaluate(*(draw[name] for name in names))) for draw in draws])

    return likelihood


def without_slopes(draws: list[Arrays], data: Arrays, earlier: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the log likelihood of new tests where every visit and spot is known: nothing is integrated."""
    each = {name: np.array([draw[name] for draw in draws]) for name in draws[0]}
    spots = data["spot_anchor"].size
    effects = Effects(
        visit=each.pop("visit")[:, data["spot_visit"]], visit_spread=np.ones(DRAWS),
        shift=np.zeros((DRAWS, spots)), **each,
    )  # fmt: skip
    tests = data["spot_pulls"] + np.bincount(data["reset_spot"], minlength=spots)
    new = NewSpots(np.arange(spots), tests, earlier, data["reset_spot"], data["veer_spot"])
    return new_log_likelihood(effects, new, *(_columns(data, test) for test in ("pull", "reset", "veer")))


def _columns(data: Arrays, test: str) -> tuple[NDArray[Any], ...]:
    """Return columns as they are laid out: pulls in the order of their spots."""
    if test == "pull":
        order = data["pull_order"]
        data = {**data, "pull_order": np.arange(order.size), **{name: data[name][order] for name in OF_PULLS}}
    columns = (data[name] for name in TESTS[test].columns if name != ALONE)
    return tuple(np.array(each, dtype=np.int64 if each.dtype.kind == "i" else np.float64) for each in columns)


def test_the_same_for_every_kind_of_row(
    draws: list[Arrays], data: Arrays, of_the_fit: Callable[[str, Arrays], NDArray[np.float64]]
) -> None:
    expected = sum(of_the_fit(test, data) for test in TESTS)
    found = without_slopes(draws, data, np.zeros(data["spot_anchor"].size, dtype=np.int64))
    assert np.ptp(expected) > 100.0
    np.testing.assert_allclose(found, expected, rtol=1e-10, atol=1e-10)


def test_the_same_given_earlier_pulls_of_a_spot(
    draws: list[Arrays], data: Arrays, of_the_fit: Callable[[str, Arrays], NDArray[np.float64]]
) -> None:
    """What all pulls say, less what those say that the fit knows."""
    number = data["spot_pulls"]
    earlier = np.where(number > 1, number // 2, 0)
    ends = zip(data["spot_first"], data["spot_first"] + earlier, strict=True)
    known = data["pull_order"][np.concatenate([np.arange(first, end) for first, end in ends])]
    those = {name: data[name][known] for name in OF_PULLS} | {
        "pull_order": np.arange(known.size),
        "spot_pulls": earlier,
        "spot_first": np.cumsum(earlier) - earlier,
    }
    expected = sum(of_the_fit(test, data) for test in TESTS) - of_the_fit("pull", {**data, **those})
    found = without_slopes(draws, data, earlier)
    np.testing.assert_allclose(found, expected, rtol=1e-10, atol=1e-10)


def test_a_row_that_almost_cannot_be_still_has_a_likelihood(draws: list[Arrays], data: Arrays) -> None:
    """Loads beyond all reason: unlikely, no number that spoils the others."""
    far = {**data, "lower": data["lower"] + 200.0, "upper": data["upper"] + 200.0}
    found = without_slopes(draws, far, np.zeros(data["spot_anchor"].size, dtype=np.int64))
    assert np.isfinite(found).all()

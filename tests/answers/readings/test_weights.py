"""Weights of draws, and draws led by steps: against the conjugate normal, known in closed form."""

from collections.abc import Mapping

import numpy as np
import pytest
from scipy import stats

from holdcast.answers.draws.bands import BANDS
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.readings import steps
from holdcast.answers.readings import update as update_module
from holdcast.answers.readings.new_tests import values_of
from holdcast.answers.readings.update import quantile_errors, updated_draws
from holdcast.answers.readings.weights import (
    LEAST_DRAWS,
    LEAST_ROUGH_DRAWS,
    Weights,
    effective_draws,
    weigh,
    weighted_bands,
    weighted_quantiles,
)

DRAWS, SD = 8000, 0.3


@pytest.fixture(scope="module")
def capacity() -> np.ndarray:
    """Two cells with a correlation of 0.6, standard deviation 0.3 about 7."""
    covariance = SD**2 * np.array([[1.0, 0.6], [0.6, 1.0]])
    return np.random.default_rng(2).multivariate_normal([7.0, 7.0], covariance, DRAWS)[:, :, None]


def conjugate(reading: float, sd: float, correlation: float) -> stats.rv_continuous:
    """Return a cell's posterior after one normal reading of the first cell."""
    gain = SD**2 / (SD**2 + sd**2)
    mean = 7.0 + correlation * gain * (reading - 7.0)
    return stats.norm(mean, SD * np.sqrt(1.0 - correlation**2 * gain))


def test_weights_give_the_conjugate_posterior(capacity) -> None:
    weights = weigh(stats.norm.logpdf(7.2, capacity[:, 0, 0], 0.3))
    assert weights.trusted and weights.pareto_k < 0.5 and weights.effective > LEAST_DRAWS
    bands = weighted_bands(capacity, weights.weight)
    for cell, correlation in ((0, 1.0), (1, 0.6)):
        # Four standard errors of the outer quantiles.
        error = 4 * 2.2 * 0.25 / np.sqrt(weights.effective)
        expected = conjugate(7.2, 0.3, correlation).ppf(BANDS)
        np.testing.assert_allclose(bands[cell, 0], expected, atol=error)


def test_weights_that_a_few_draws_carry_are_not_trusted(capacity) -> None:
    weights = weigh(stats.norm.logpdf(8.1, capacity[:, 0, 0], 0.02))
    assert not weights.trusted and weights.effective < LEAST_DRAWS


def test_even_weights_change_nothing(capacity) -> None:
    weights = weigh(np.full(DRAWS, -3.0))
    assert weights.trusted and weights.effective == pytest.approx(DRAWS)
    bands = weighted_bands(capacity, weights.weight)[:, 0]
    plain = np.moveaxis(np.quantile(capacity[..., 0], BANDS, axis=0), 0, -1)
    np.testing.assert_allclose(bands, plain, atol=1e-3)


def test_effective_draws_count_even_ones() -> None:
    assert effective_draws(np.full(50, 0.02)) == pytest.approx(50.0)
    assert effective_draws(np.array([1.0, 0.0, 0.0])) == 1.0


def test_errors_of_weighted_quantiles_are_those_of_many_repeats() -> None:
    """A normal of mean 0.5 from draws of the standard normal, 2,000 times with 300 draws."""
    generator = np.random.default_rng(8)
    draws = generator.standard_normal((300, 2000))
    weight = np.exp(0.5 * draws)
    weight /= weight.sum(axis=0)
    ends = np.array(
        [
            weighted_quantiles(draws[:, [each]], weight[:, each], (0.05, 0.5, 0.95))[0]
            for each in range(draws.shape[1])
        ]
    )
    errors = np.array(
        [quantile_errors(draws[:, [each]], weight[:, each])[0] for each in range(draws.shape[1])]
    )
    np.testing.assert_allclose(np.median(errors, axis=0), ends.std(axis=0), rtol=0.12)


def test_few_draws_carry_a_rough_update_by_weights_and_fewer_go_by_steps(
    small_fit, monkeypatch: pytest.MonkeyPatch
) -> None:
    draws = draws_of(small_fit)
    agree = np.zeros(draws["log_capacity"].shape[1:], dtype=bool)
    monkeypatch.setattr(update_module, "led_by_steps", lambda here, *_: (here, agree))
    asked: list[int] = []

    class Told:
        """New tests that say nothing; how many draws they were weighed for is kept."""

        def __init__(self, *_: object) -> None: ...

        def log_likelihood(self, here: Mapping[str, np.ndarray]) -> np.ndarray:
            asked.append(len(here["log_capacity"]))
            return np.zeros(asked[-1])

    monkeypatch.setattr(update_module, "NewTests", Told)
    places = np.arange(draws.samples)
    some = np.where(places % (draws.samples // 150) == 0, 1.0, 0.0)
    rough = Weights(some / some.sum(), 0.3, effective_draws(some / some.sum()))
    assert LEAST_ROUGH_DRAWS < rough.effective < LEAST_DRAWS
    monkeypatch.setattr(update_module, "weigh", lambda _: rough)
    update = updated_draws(draws, small_fit.inputs)
    assert not update.by_steps and update.holds.any() and sum(asked) == draws.samples
    np.testing.assert_array_equal(update.weight, rough.weight)
    for few in (Weights(rough.weight, 0.8, rough.effective), Weights(rough.weight, 0.3, 60.0)):
        monkeypatch.setattr(update_module, "weigh", lambda _, few=few: few)
        led = updated_draws(draws, small_fit.inputs)
        assert led.by_steps and led.holds is agree and led.weights is few


def test_where_weights_are_hopeless_the_other_draws_are_not_weighed(
    small_fit, monkeypatch: pytest.MonkeyPatch
) -> None:
    draws = draws_of(small_fit)
    agree = np.zeros(draws["log_capacity"].shape[1:], dtype=bool)
    at_start = []
    monkeypatch.setattr(
        update_module, "led_by_steps", lambda here, _, known: (at_start.append(known), (here, agree))[1]
    )
    monkeypatch.setattr(steps, "_DRAWS", 200)
    some = steps.starting_places(draws)
    assert some.size < draws.samples

    class OneDrawCountsAll:
        def __init__(self, *_: object) -> None: ...

        def log_likelihood(self, here: Mapping[str, np.ndarray]) -> np.ndarray:
            assert len(here["log_capacity"]) == some.size
            return np.where(np.arange(some.size) == 7, 0.0, -50.0)

    monkeypatch.setattr(update_module, "NewTests", OneDrawCountsAll)
    update = updated_draws(draws, small_fit.inputs)
    assert update.by_steps and update.weights.effective < 2.0
    assert at_start[0].shape == some.shape and at_start[0][7] == 0.0


def test_a_step_goes_as_far_as_half_of_the_draws_still_count() -> None:
    """Weights of step t leave exp(-(t s)²) of the draws where the log likelihood is normal with spread s."""
    log_likelihood = 3.0 * np.random.default_rng(4).standard_normal(200_000)
    assert steps._step(log_likelihood, 1.0) == pytest.approx(np.sqrt(np.log(2.0)) / 3.0, rel=0.02)
    assert steps._step(0.1 * log_likelihood, 0.7) == 0.7


def test_draws_are_led_to_the_conjugate_posterior(small_fit, monkeypatch: pytest.MonkeyPatch) -> None:
    """One reading, far out and so sharp that weights fail; all other cells follow by their covariance."""
    draws = draws_of(small_fit)
    before = draws["log_capacity"]
    cell, mean, sd = before[:, 0, 0], before[:, 0, 0].mean(), before[:, 0, 0].std()
    reading, error = mean + 2.0 * sd, 0.1 * sd
    assert not weigh(stats.norm.logpdf(reading, cell, error)).trusted

    class OneReading:
        def __init__(self, *_: object) -> None: ...

        def log_likelihood(self, here: Mapping[str, np.ndarray]) -> np.ndarray:
            return np.asarray(stats.norm.logpdf(reading, here["log_capacity"][:, 0, 0], error))

    at_start = values_of(draws, steps.starting_places(draws))
    led, holds = steps.led_by_steps(draws, OneReading(), OneReading().log_likelihood(at_start))
    after = led["log_capacity"]
    gain = sd**2 / (sd**2 + error**2)
    slope = np.array([np.cov(cell, each)[0, 1] for each in before.reshape(len(before), -1).T]) / sd**2
    spread = before.reshape(len(before), -1).std(axis=0)
    expected = before.reshape(len(before), -1).mean(axis=0) + slope * gain * (reading - mean)
    assert after[:, 0, 0].std() == pytest.approx(sd * np.sqrt(1.0 - gain), rel=0.25)
    assert after[:, 0, 0].mean() == pytest.approx(expected[0], abs=0.05 * sd)
    moved = (after.reshape(len(after), -1).mean(axis=0) - expected) / spread
    assert np.abs(moved).max() < 0.25
    assert holds.any()
    # The fit's own draws stay as they were.
    np.testing.assert_array_equal(draws["log_capacity"], before)

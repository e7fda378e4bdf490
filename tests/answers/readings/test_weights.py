"""Weights of draws: against the conjugate normal, where the answer is known in closed form."""

import numpy as np
import pytest
from scipy import stats

from holdcast.answers.draws.bands import BANDS
from holdcast.answers.readings.updated_cells import weighted_bands
from holdcast.answers.readings.weights import LEAST_DRAWS, effective_draws, weigh

DRAWS = 8000


class Drawn:
    """Draws of the log capacity of two cells, and of a chance of setting that tells nothing."""

    def __init__(self, capacity: np.ndarray) -> None:
        self.values = {"log_capacity": capacity, "sets_log_odds": np.full(capacity.shape, 3.0)}
        self.samples = len(capacity)

    def __getitem__(self, name: str) -> np.ndarray:
        return self.values[name]


@pytest.fixture(scope="module")
def drawn() -> Drawn:
    """Two cells with a correlation of 0.6, standard deviation 0.3 about 7."""
    covariance = 0.09 * np.array([[1.0, 0.6], [0.6, 1.0]])
    capacity = np.random.default_rng(2).multivariate_normal([7.0, 7.0], covariance, DRAWS)
    return Drawn(capacity[:, :, None])


def conjugate(reading: float, sd: float, correlation: float) -> stats.rv_continuous:
    """Return a cell's posterior after one normal reading of the first cell."""
    gain = 0.09 / (0.09 + sd**2)
    mean = 7.0 + correlation * gain * (reading - 7.0)
    return stats.norm(mean, np.sqrt(0.09 * (1.0 - correlation**2 * gain)))


def test_weights_give_the_conjugate_posterior(drawn) -> None:
    log_likelihood = stats.norm.logpdf(7.2, drawn["log_capacity"][:, 0, 0], 0.3)
    weights = weigh(drawn, log_likelihood)
    assert weights.trusted and weights.pareto_k < 0.5 and weights.effective > LEAST_DRAWS
    assert weights.holds.all()
    bands = weighted_bands(drawn["log_capacity"], weights.weight)
    for cell, correlation in ((0, 1.0), (1, 0.6)):
        # Four standard errors of the outer quantiles.
        error = 4 * 2.2 * 0.25 / np.sqrt(weights.effective)
        expected = conjugate(7.2, 0.3, correlation).ppf(BANDS)
        np.testing.assert_allclose(bands[cell, 0], expected, atol=error)


def test_where_weights_fail_each_cell_is_judged_by_itself(drawn) -> None:
    """Much is learnt of something else, and a little of the first cell."""
    other = np.random.default_rng(3).standard_normal(DRAWS)
    log_likelihood = stats.norm.logpdf(7.2, drawn["log_capacity"][:, 0, 0], 0.3)
    log_likelihood = log_likelihood + stats.norm.logpdf(2.5, other, 0.15)
    weights = weigh(drawn, log_likelihood)
    assert not weights.trusted
    assert weights.effective < LEAST_DRAWS or weights.pareto_k > 0.7
    assert weights.holds.all()
    bands = weighted_bands(drawn["log_capacity"], weights.weight)
    for cell, correlation in ((0, 1.0), (1, 0.6)):
        expected = conjugate(7.2, 0.3, correlation).ppf(BANDS)
        # The regression knows its slopes to one in the root of the draws.
        np.testing.assert_allclose(bands[cell, 0], expected, atol=0.1)


def test_a_cell_that_learns_too_much_does_not_hold(drawn) -> None:
    log_likelihood = stats.norm.logpdf(8.1, drawn["log_capacity"][:, 0, 0], 0.02)
    weights = weigh(drawn, log_likelihood)
    assert not weights.trusted and not weights.holds[0, 0]


def test_even_weights_change_nothing(drawn) -> None:
    weights = weigh(drawn, np.full(DRAWS, -3.0))
    assert weights.trusted and weights.effective == pytest.approx(DRAWS)
    bands = weighted_bands(drawn["log_capacity"], weights.weight)[:, 0]
    plain = np.moveaxis(np.quantile(drawn["log_capacity"][..., 0], BANDS, axis=0), 0, -1)
    np.testing.assert_allclose(bands, plain, atol=1e-3)


def test_effective_draws_count_even_ones() -> None:
    assert effective_draws(np.full(50, 0.02)) == pytest.approx(50.0)
    assert effective_draws(np.array([1.0, 0.0, 0.0])) == 1.0

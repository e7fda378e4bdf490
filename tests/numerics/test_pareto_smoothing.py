"""Smoothed weights and sensitivities against ArviZ's (computed)."""

import numpy as np
import pytest
import xarray as xr
from arviz_stats import psense
from arviz_stats.base import array_stats

from holdcast.numerics.pareto_smoothing import SameWeightsError, pareto_smoothed, tail_draws
from holdcast.numerics.power_scaling import power_sensitivity


@pytest.mark.parametrize("samples", [60, 201, 600, 4000])
@pytest.mark.parametrize("spread", [0.01, 0.3, 1.0, 2.5])
def test_smoothed_weights_are_the_librarys(samples: int, spread: float) -> None:
    log_ratio = np.random.default_rng(7).normal(scale=spread, size=(2, 3, samples))
    theirs, their_shape = array_stats.psislw(-log_ratio, axis=-1)
    before = log_ratio.copy()
    log_weight, shape = pareto_smoothed(log_ratio)
    np.testing.assert_allclose(log_weight, theirs, rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(shape, their_shape, rtol=0.0, atol=1e-13)
    np.testing.assert_array_equal(log_ratio, before)


def test_a_tail_that_begins_with_many_alike_is_left_as_it_is() -> None:
    log_ratio = np.concatenate([np.zeros(3990), np.linspace(0.1, 1.0, 10)])
    theirs, their_shape = array_stats.psislw(-log_ratio)
    log_weight, shape = pareto_smoothed(log_ratio)
    assert np.isnan(shape) and np.isnan(their_shape)
    np.testing.assert_allclose(log_weight, theirs, atol=1e-12)


def test_weights_all_alike_and_too_few_draws_are_refused() -> None:
    with pytest.raises(SameWeightsError, match="the same"):
        pareto_smoothed(np.zeros(400))
    with pytest.raises(ValueError, match="24 draws are too few"):
        pareto_smoothed(np.arange(24.0))


def test_the_tail_is_that_of_the_paper() -> None:
    """Three roots of the effective draws, a fifth of few (Vehtari et al. 2024, value from memory)."""
    assert tail_draws(4000) == 189 and tail_draws(200) == 40 and tail_draws(4000, 0.25) == 379


def chains(seed: int, sticky: float) -> np.ndarray:
    rng = np.random.default_rng(seed)
    draws = rng.normal(size=(4, 500 + seed))
    for place in range(1, draws.shape[1]):
        draws[:, place] += sticky * draws[:, place - 1]
    return draws


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("sticky", [0.0, 0.8, -0.5])
def test_sensitivities_are_the_librarys(seed: int, sticky: float) -> None:
    part = chains(seed, sticky)
    values = part + np.random.default_rng(seed + 50).normal(size=part.shape)
    density = -0.5 * (part - 0.3 * seed) ** 2
    dims = ("chain", "draw")
    tree = xr.DataTree.from_dict(
        {
            "posterior": xr.Dataset({"cell": (dims, values)}),
            "log_prior": xr.Dataset({"part": (dims, density)}),
        }
    )
    theirs = float(psense(tree, var_names=["cell"], group="prior", group_var_names=["part"])["cell"])
    assert power_sensitivity(values.ravel(), density.ravel()) == pytest.approx(theirs, rel=1e-8)


def test_a_part_that_is_the_same_everywhere_moves_nothing() -> None:
    assert power_sensitivity(np.random.default_rng(1).normal(size=400), np.zeros(400)) == 0.0

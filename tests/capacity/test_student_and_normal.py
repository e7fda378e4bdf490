"""Student's t of 4 degrees of freedom plus a normal, against sums and draws of scipy's (computed)."""

import numpy as np
import pytest
from scipy import special, stats

from holdcast.capacity.pointwise.student_and_normal import student_and_normal

MARGINS = np.concatenate([-np.geomspace(1e3, 1e-3, 41), [0.0], np.geomspace(1e-3, 1e3, 41)])


def summed(margin: np.ndarray, spread: float) -> np.ndarray:
    """Return the share below by 20,001 terms over 8.5 standard deviations."""
    z = np.linspace(-8.5, 8.5, 20_001)
    weight = np.exp(-0.5 * z**2)
    return special.stdtr(4.0, margin[:, None] + spread * z) @ (weight / weight.sum())


@pytest.mark.parametrize("spread", [0.0, 1e-6, 0.1, 0.5, 1.0, 1.7, 3.0, 5.0, 7.99, 8.01, 12.0, 30.0])
def test_shares_are_those_of_a_fine_sum(spread: float) -> None:
    """Beyond 8 other polynomials hold."""
    law = student_and_normal(np.full(len(MARGINS), spread))
    np.testing.assert_allclose(law.below(MARGINS), summed(MARGINS, spread), rtol=0.0, atol=5e-8)


def test_each_spread_has_its_own_law_and_some_can_be_taken() -> None:
    spreads, margins = np.linspace(0.0, 9.0, 91), np.linspace(-3.0, 4.0, 182).reshape(2, 91)
    law = student_and_normal(spreads)
    together = law.below(margins)
    alone = [
        [
            student_and_normal(np.array([r])).below(np.array([m])).item()
            for r, m in zip(spreads, row, strict=True)
        ]
        for row in margins
    ]
    np.testing.assert_allclose(together, alone, atol=1e-14)
    some = slice(None, None, 4)
    np.testing.assert_allclose(law.of_draws(some).below(margins[:, some]), together[:, some], atol=1e-14)


def test_shares_lie_between_nothing_and_all() -> None:
    far = np.array([[-np.inf, -1e12, -1e5], [np.inf, 1e12, 1e5]])
    share = student_and_normal(np.array([0.0, 1.0, 7.0])).below(far)
    assert ((share >= 0.0) & (share <= 1.0)).all()
    np.testing.assert_allclose(share, [[0.0] * 3, [1.0] * 3], atol=5e-8)


def test_the_law_is_that_of_drawn_sums() -> None:
    rng = np.random.default_rng(5)
    drawn = stats.t(4).rvs(200_000, random_state=rng) + 0.8 * rng.standard_normal(200_000)
    margins = np.array([-2.0, -0.5, 0.3, 1.5])
    counted = (drawn[:, None] < margins).mean(axis=0)
    np.testing.assert_allclose(student_and_normal(np.full(4, 0.8)).below(margins), counted, atol=0.005)

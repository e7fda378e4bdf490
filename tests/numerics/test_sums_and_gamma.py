"""Sums in logarithms and the beta function against scipy's (source: scipy.special, computed)."""

import numpy as np
from scipy import special

from holdcast.numerics.sums_and_gamma import log_beta, log_sum_exp


def test_sums_are_those_of_the_library() -> None:
    logs = np.random.default_rng(2).normal(scale=300.0, size=(5, 40))
    for axis in (0, 1):
        np.testing.assert_allclose(
            log_sum_exp(logs, axis), special.logsumexp(logs, axis=axis), rtol=1e-14, atol=1e-14
        )
    assert log_sum_exp(np.full(3, -np.inf), 0) == -np.inf


def test_beta_functions_are_those_of_the_library() -> None:
    a = np.geomspace(1e-12, 1e4, 161)[:, None]
    b = np.geomspace(1e-6, 1e4, 101)
    np.testing.assert_allclose(log_beta(a, b), special.betaln(a, b), rtol=1e-12, atol=1e-10)
    np.testing.assert_allclose(log_beta(3.0, np.arange(1.0, 6.0)), special.betaln(3.0, np.arange(1.0, 6.0)))

"""The normal distribution function and its inverse against scipy's (source: scipy.special, computed)."""

import numpy as np
import pytest
from scipy import special

from holdcast.numerics.normal import log_normal_below, normal_below, normal_score

X = np.concatenate([np.linspace(-8.0, 8.0, 40_001), [0.0, -0.0, 1.0 / 512.0]])


def test_shares_below_are_those_of_the_library() -> None:
    np.testing.assert_allclose(normal_below(X), special.ndtr(X), rtol=1e-11, atol=5e-16)


@pytest.mark.parametrize(("least", "most", "off"), [(-20.0, -8.0, 2e-9), (-37.0, -20.0, 5e-8)])
def test_the_far_tail_keeps_its_size(least: float, most: float, off: float) -> None:
    far = np.linspace(least, most, 5_001)
    np.testing.assert_allclose(normal_below(far), special.ndtr(far), rtol=off)


def test_ends_and_what_is_no_number() -> None:
    np.testing.assert_allclose(normal_below([[-np.inf, -1e9], [np.inf, 1e9]]), [[0, 0], [1, 1]], atol=1e-300)
    assert np.isnan(normal_below(np.nan))


def test_scores_are_those_of_the_library() -> None:
    shares = np.concatenate([np.linspace(0.0, 1.0, 2_001), [1e-300, 1e-15, 1.0 - 1e-15]])
    np.testing.assert_allclose(normal_score(shares), special.ndtri(shares), rtol=1e-14, atol=1e-15)
    assert np.isnan(normal_score([np.nan, -0.1, 1.1])).all()
    assert normal_score(0.5).shape == ()


def test_logs_of_shares_are_those_of_the_library_however_far_out() -> None:
    places = np.concatenate([np.linspace(-60.0, 40.0, 100_001), [-1e5, -6.0, 0.0]])
    np.testing.assert_allclose(log_normal_below(places), special.log_ndtr(places), rtol=1e-12, atol=1e-17)

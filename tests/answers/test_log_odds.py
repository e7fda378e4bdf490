"""Chances and log odds against scipy's functions of the same names (source: scipy.special, computed)."""

import numpy as np
from scipy import special

from holdcast.answers.draws.log_odds import expit, log_expit, logit

X = np.concatenate([np.linspace(-40.0, 40.0, 161), [-800.0, -1e-12, 0.0, 1e-12, 800.0]])
P = np.concatenate([[0.0, 1e-300, 1e-12], np.linspace(0.01, 0.99, 99), [1.0 - 1e-12, 1.0]])


def test_chances_and_log_odds_are_those_of_the_library() -> None:
    np.testing.assert_allclose(expit(X), special.expit(X), rtol=1e-15)
    np.testing.assert_allclose(log_expit(X), special.log_expit(X), rtol=1e-15)
    np.testing.assert_allclose(logit(P), special.logit(P), rtol=1e-14, atol=1e-15)

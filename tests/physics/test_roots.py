"""Roots of many equations at once, against square roots and logarithms."""

import numpy as np
import pytest
from scipy.optimize.elementwise import bracket_root, find_root

from holdcast.physics.roots import bracket, root_between

NUMBERS = np.array([0.3, 2.0, 50.0])


def square_less(x, number):
    return x**2 - number


def test_roots_between_two_ends_are_square_roots():
    np.testing.assert_allclose(root_between(square_less, 0.0, 10.0, (NUMBERS,)), np.sqrt(NUMBERS), rtol=1e-14)


def test_ends_of_one_sign_have_no_root():
    found = root_between(square_less, 0.0, 1.0, (NUMBERS,))
    np.testing.assert_allclose(found[0], np.sqrt(0.3), rtol=1e-14)
    assert np.isnan(found[1:]).all()


def test_coarse_tolerances_end_the_search_sooner():
    coarse = root_between(square_less, 0.0, 10.0, (NUMBERS,), {"xatol": 0.1, "xrtol": 0.0})
    away = abs(coarse - np.sqrt(NUMBERS))
    assert (away < 0.1).all() and (away > 1e-9).any()


def test_a_bracket_is_looked_for_outwards_and_holds_the_root():
    low, high = bracket(lambda x, number: np.exp(x) - number, np.full(3, -0.1), np.full(3, 0.1), (NUMBERS,))
    assert (np.exp(low) < NUMBERS).all() and (np.exp(high) > NUMBERS).all()


@pytest.mark.parametrize(
    "tolerances",
    [None, {"fatol": 2e-7}, {"xatol": 1e-12, "xrtol": 1e-15, "fatol": 0.0, "frtol": 0.0}, {"frtol": 1e-3}],
)
@pytest.mark.parametrize(
    "function",
    [
        lambda x, a, b: x**3 - a * x - b,
        lambda x, a, b: np.exp(x) - 5.0 * abs(a) - 0.1,
        lambda x, a, b: np.sign(x - a) * np.abs(x - a) ** b,
        lambda x, a, b: np.where(x > a, 1.0, -1.0),
    ],
)
def test_roots_are_the_librarys_to_the_last_digit(function, tolerances):
    """Outside source: scipy.optimize.elementwise.find_root (computed)."""
    rng = np.random.default_rng(3)
    args = rng.normal(scale=2.0, size=200), rng.uniform(0.1, 3.0, size=200)
    for low, high in ((-3.0, 4.0), (rng.normal(size=200) - 2.0, rng.normal(size=200) + 3.0)):
        with np.errstate(divide="ignore"):
            theirs = find_root(function, (low, high), args=args, tolerances=tolerances).x
        np.testing.assert_array_equal(root_between(function, low, high, args, tolerances), theirs)


def test_brackets_are_the_librarys():
    """Outside source: scipy.optimize.elementwise.bracket_root (computed)."""
    rng = np.random.default_rng(4)
    where, low = rng.normal(scale=5.0, size=200), rng.normal(size=200)
    high = low + rng.uniform(0.01, 0.3, size=200)

    def function(x, where):
        return np.tanh(x - where)

    theirs = bracket_root(function, low, high, args=(where,)).bracket
    np.testing.assert_array_equal(bracket(function, low, high, (where,)), theirs)


def test_a_function_that_never_changes_its_sign_has_no_bracket():
    low, high = bracket(lambda x: 1.0 + np.exp(-np.abs(x)), np.array([0.0]), np.array([1.0]))
    assert np.isnan([low, high]).all()

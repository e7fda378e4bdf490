"""Roots of many equations at once, against square roots and logarithms."""

import numpy as np

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

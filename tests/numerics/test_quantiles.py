"""Quantiles against numpy's own (computed), digit by digit."""

import numpy as np
import pytest

from holdcast.numerics.quantiles import quantiles_of

LEVELS = (0.0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0)


@pytest.mark.parametrize("axis", [0, 1, 2, -1])
@pytest.mark.parametrize("samples", [1, 2, 601, 4000])
def test_quantiles_are_numpys(axis: int, samples: int) -> None:
    shape = np.array([3, 2, 4])
    shape[axis] = samples
    values = np.random.default_rng(samples).normal(size=shape).round(2)
    before = values.copy()
    theirs = np.moveaxis(np.quantile(values, LEVELS, axis=axis), 0, -1)
    np.testing.assert_array_equal(quantiles_of(values, LEVELS, axis), theirs)
    np.testing.assert_array_equal(values, before)


def test_a_row_with_what_is_no_number_has_none() -> None:
    values = np.array([[1.0, np.nan, 3.0], [1.0, 2.0, 3.0]])
    np.testing.assert_array_equal(quantiles_of(values, [0.5]), [[np.nan], [2.0]])

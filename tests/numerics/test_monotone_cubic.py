"""Monotone curves against scipy's PchipInterpolator (computed)."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from holdcast.numerics.monotone_cubic import monotone_cubic


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("points", [2, 3, 4, 48])
def test_curves_are_those_of_the_library(seed: int, points: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(0.05, 2.0, points))
    y = rng.normal(size=points) if seed % 2 else np.cumsum(rng.exponential(size=points))
    y[rng.integers(points)] = y[0]  # a level stretch now and then
    at = np.concatenate([np.linspace(x[0], x[-1], 301), x])
    np.testing.assert_allclose(monotone_cubic(x, y, at), PchipInterpolator(x, y)(at), rtol=1e-12, atol=1e-13)

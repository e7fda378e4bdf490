"""Rodes of chain against MoorPy, another's solver of static mooring lines (BSD-3; Hall and others)."""

import importlib
import warnings
from collections.abc import Callable

import numpy as np
import pytest

from holdcast.physics.rode.loads import state_at_anchor_load, state_at_bow_load
from holdcast.physics.rode.make_up import make_rode, minimum_bow_load_n

STIFFNESS_N = 1e10  # MoorPy has no inextensible line
RODES = 200


@pytest.fixture(scope="module")
def catenary() -> Callable[..., tuple]:
    """MoorPy's solver; its own source brings warnings where it is compiled for the first time."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return importlib.import_module("moorpy.Catenary").catenary


def random_rodes() -> tuple[np.ndarray, ...]:
    """Depth with bow height [m], length [m], mass [kg/m], load at the bow [N] and friction of chain [1]."""
    rng = np.random.default_rng(23)
    height = rng.uniform(2.0, 25.0, RODES)
    length = height * rng.uniform(1.3, 12.0, RODES)
    mass = rng.uniform(0.8, 4.5, RODES)
    hanging = np.asarray(minimum_bow_load_n(make_rode(height, length, mass)))
    load = hanging + np.exp(rng.uniform(np.log(50.0), np.log(20_000.0), RODES))
    return height, length, mass, load, rng.uniform(0.0, 1.0, RODES)


def test_loads_at_the_anchor_of_random_all_chain_rodes(catenary):
    height, length, mass, load, friction = random_rodes()
    rode = make_rode(height, length, mass, friction=friction, stiffness_n=(STIFFNESS_N, STIFFNESS_N))
    state = state_at_bow_load(load, rode)
    lies, held = (state.lying_length_m > 0.0), (state.load_at_anchor_n == 0.0)
    assert min(lies.sum(), (~lies).sum(), held.sum(), (lies & ~held).sum()) > 10
    # Steel of 7850 in sea water of 1025 kg/m³ (common practice, no source).
    weight = mass * 9.80665 * (1.0 - 1025.0 / 7850.0)
    for place in range(RODES):
        line = (state.distance_m[place], height[place], length[place], STIFFNESS_N, weight[place])
        along, up, along_bow, up_bow, _ = catenary(*line, CB=friction[place], Tol=1e-10, MaxIter=500)
        tolerance = 2e-4 * load[place]
        assert np.hypot(along_bow, up_bow) == pytest.approx(load[place], abs=tolerance)
        assert np.hypot(along, up) == pytest.approx(state.load_at_anchor_n[place], abs=tolerance)
        angle = np.degrees(np.arctan2(max(up, 0.0), abs(along_bow)))
        assert angle == pytest.approx(state.uplift_angle_deg[place], abs=0.02)


def test_loads_at_the_bow_from_those_at_the_anchor(catenary):
    height, length, mass, load, friction = random_rodes()
    rode = make_rode(height, length, mass, friction=friction, stiffness_n=(STIFFNESS_N, STIFFNESS_N))
    state = state_at_anchor_load(load, rode)
    weight = mass * 9.80665 * (1.0 - 1025.0 / 7850.0)
    for place in range(RODES):
        line = (state.distance_m[place], height[place], length[place], STIFFNESS_N, weight[place])
        *_, along_bow, up_bow, _ = catenary(*line, CB=friction[place], Tol=1e-10, MaxIter=500)
        at_bow = float(state.load_at_bow_n[place])
        assert np.hypot(along_bow, up_bow) == pytest.approx(at_bow, rel=2e-4)

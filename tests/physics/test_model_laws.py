"""The four laws that the model uses: one code for numpy, xarray and PyTensor, and their limits."""

import numpy as np
import published
import pytensor
import pytensor.tensor as pt
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from holdcast.physics.ground.penetration import log_penetration_factor
from holdcast.physics.ground.rate import RATE_PER_DECADE_PRIOR, REFERENCE_DRAG_SPEED, log_rate_factor
from holdcast.physics.rode.uplift import (
    STRENGTH_OF_FALL_90,
    STRENGTH_OF_FALL_MEDIAN,
    fall_shape,
    log_uplift_factor,
)
from holdcast.physics.size import AREA_EXPONENT, log_area_excess, log_size_factor

LAWS = {
    "size": (log_size_factor, (np.linspace(-3, 3, 7), 0.9)),
    "area": (log_area_excess, (np.linspace(-5, 1, 7), np.linspace(-2, 2, 7), -2.3)),
    "penetration": (log_penetration_factor, (np.linspace(-40, 40, 9), 0.4, 0.7, 1.7, 0.5)),
    "penetration far": (log_penetration_factor, (np.linspace(-1e3, 1e3, 9), 0.0, 0.0, 1.0, 0.5)),
    "uplift": (log_uplift_factor, (np.array([0.0, 1e-6, 1e-3, 1.0, 8.0, 30.0, 90.0]), 0.55)),
    "rate": (log_rate_factor, (np.array([0.0, 1e-4, 1e-3, 2e-3, 0.1, 1.03, 5.0]), 0.11)),
}


@pytest.mark.parametrize("name", LAWS)
def test_numpy_xarray_and_pytensor_agree(name):
    law, (first, *rest) = LAWS[name]
    expected = law(first, *rest)
    labelled = law(xr.DataArray(first, dims="pull", coords={"pull": np.arange(len(first))}), *rest)
    assert labelled.dims == ("pull",)
    symbol = pt.dvector("first")
    symbolic = pytensor.function([symbol], law(symbol, *rest), mode="FAST_COMPILE")(first)
    np.testing.assert_allclose(labelled.values, expected, rtol=1e-12, atol=0)
    np.testing.assert_allclose(symbolic, expected, rtol=1e-12, atol=0)


@pytest.mark.parametrize("name", ["penetration", "penetration far", "uplift"])
def test_gradients_are_finite_everywhere(name):
    law, (first, *rest) = LAWS[name]
    symbol = pt.dvector("first")
    slope = pytensor.function([symbol], pt.grad(law(symbol, *rest).sum(), symbol), mode="FAST_COMPILE")(first)
    assert np.isfinite(slope).all()


def test_size_law_carries_the_drag_anchor_curves_to_small_anchors():
    # UFC 4-159-03 (2005) eq. 26 (read), parameters from memory, so a loose tolerance: lbf at 10, 25, 100 and
    # 1000 lb for rows 20 and 5 in soft and 11 in hard ground (computed from them).
    carried = {
        ("stockless, movable flukes", 0): (41.7, 96.9, 346.9, 2885.0),
        ("lightweight twin-fluke, stock at the crown", 0): (151.2, None, None, 10460.0),
        ("high-efficiency twin-fluke", 2): (408.7, 967.0, 3559.0, 31000.0),
    }
    for (name, at), loads in carried.items():
        kips, exponent = published.DRAG_ANCHOR_LAW[name][at : at + 2]
        for pounds, load in zip((10, 25, 100, 1000), loads, strict=True):
            if load is not None:
                factor = np.exp(log_size_factor(np.log(pounds / 10_000), exponent))
                assert 1000 * kips * factor == pytest.approx(load, rel=5e-3)


def test_theory_brackets_published_exponents():
    # Similitude (identities): 2/3 for uniform strength, 1 for strength growing with depth; UFC, from memory.
    for _, soft, _, hard in published.DRAG_ANCHOR_LAW.values():
        assert AREA_EXPONENT < hard <= soft < 1.0


@given(st.floats(-3, 3))
def test_similar_anchors_have_no_area_excess(log_ratio):
    similar_area = 0.1 * np.exp(log_ratio) ** (2.0 / 3.0)
    assert log_area_excess(np.log(similar_area), log_ratio, np.log(0.1)) == pytest.approx(0.0, abs=1e-12)


@given(st.floats(-6, 6), st.floats(0.01, 2), st.floats(-2, 2), st.floats(0.3, 5), st.floats(0, 0.67))
def test_penetration_never_adds_and_rises_with_tip_load(log_tip, more, log_ratio, steepness, growth):
    light, heavy = (
        log_penetration_factor(log_tip + extra, log_ratio, 0.5, steepness, growth) for extra in (0.0, more)
    )
    assert light <= heavy <= 0.0
    harder = log_penetration_factor(log_tip, log_ratio, 0.5 + more, steepness, growth)
    assert harder <= light


def test_penetration_halves_where_tip_load_equals_resistance_and_is_a_power_law_below():
    assert np.exp(log_penetration_factor(1.2, 0.0, 1.2, 3.0, 0.5)) == pytest.approx(0.5)
    assert log_penetration_factor(-50.0, 0.0, 0.0, 2.0, 0.5) == pytest.approx(-100.0, rel=1e-12)
    # A larger anchor of the same tip load is held back by its thicker tip.
    assert log_penetration_factor(1.0, 1.0, 1.0, 2.0, 0.5) < log_penetration_factor(1.0, 0.0, 1.0, 2.0, 0.5)


def test_uplift_costs_exactly_nothing_along_the_bottom():
    assert log_uplift_factor(0.0, 0.7) == 0.0
    assert fall_shape(15.0) == pytest.approx(1.0, rel=1e-12)


@given(st.floats(0, 89), st.floats(0, 1), st.floats(0, 3))
def test_uplift_never_rises(angle, more, strength):
    assert log_uplift_factor(angle + more, strength) <= log_uplift_factor(angle, strength) <= 0.0


def test_uplift_brackets_the_printed_tables():
    # Three tables that disagree (read; from memory; from memory): strengths of 0 to 1.7 hold every value of
    # 2.9 and 30 degrees, 0.2 to 0.7 those of 7 to 20 degrees (computed).
    for angle, share in [row for rows in published.UPLIFT.values() for row in rows]:
        for low, high in ((0.0, 1.7), (0.2, 0.7)):
            if (low, high) == (0.0, 1.7) or 7.0 <= angle <= 20.0:
                weak, strong = (np.exp(log_uplift_factor(angle, c)) for c in (low, high))
                assert strong <= share <= weak


def test_uplift_follows_the_makers_table_with_one_strength():
    # An anchor maker's scope table (read, unsourced there), 5.7 to 19.5 degrees, within 3%.
    angles, shares = np.array([row for row in published.UPLIFT["maker"] if 5 < row[0] < 20]).T
    np.testing.assert_allclose(np.exp(log_uplift_factor(angles, 0.65)), shares, rtol=0.03)


def test_uplift_prior_covers_what_is_common_to_all():
    # Common ground: about 55 to 67% left at 14.5 degrees.
    low, high = (np.exp(log_uplift_factor(14.478, c)) for c in reversed(STRENGTH_OF_FALL_90))
    middle = np.exp(log_uplift_factor(14.478, STRENGTH_OF_FALL_MEDIAN))
    assert low < 0.55 < middle < 0.67 < high


def test_rate_is_one_at_rest_and_at_the_reference_speed():
    assert log_rate_factor(0.0, 0.1) == 0.0
    assert log_rate_factor(REFERENCE_DRAG_SPEED, 0.1) == 0.0
    assert np.exp(log_rate_factor(0.01, 0.1)) == pytest.approx(1.1, rel=1e-12)


def test_soft_mud_at_two_knots_takes_half_as_much_again():
    # Common practice, no source: a factor of 1.2 to 1.8 at about 2 kn.
    median, (_, high) = RATE_PER_DECADE_PRIOR["clay"]
    assert 1.2 < np.exp(log_rate_factor(1.029, median)) < 1.5 < np.exp(log_rate_factor(1.029, high)) < 1.8


def test_rate_priors_hold_published_gains():
    # Kaolin 10 to 16% (Acta Geotechnica 2025, read); clean sand 6.8% peak (read); sand below clay.
    assert RATE_PER_DECADE_PRIOR["clay"][1][0] < 0.10 < 0.16 < RATE_PER_DECADE_PRIOR["clay"][1][1]
    assert RATE_PER_DECADE_PRIOR["sand"][1][0] < 0.068 < RATE_PER_DECADE_PRIOR["sand"][1][1]
    assert (
        RATE_PER_DECADE_PRIOR["sand"][0] < RATE_PER_DECADE_PRIOR["silt"][0] < RATE_PER_DECADE_PRIOR["clay"][0]
    )


@settings(max_examples=50)
@given(st.floats(0, 10), st.floats(1, 10), st.floats(0, 0.5))
def test_rate_never_falls_with_speed(speed, times, per_decade):
    assert 0.0 <= log_rate_factor(speed, per_decade) <= log_rate_factor(speed * times, per_decade)

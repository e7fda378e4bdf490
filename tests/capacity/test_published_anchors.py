"""The priors against a handbook's curves of drag anchors, carried to 10 kg.

The curves are of ship's anchors (values from memory); at 10 kg they are an extrapolation.  Nothing is
sampled: the priors are drawn.
"""

from math import log

import published
import pytest
import xarray as xr

from outside.published_anchors import CURVES, at_mass, compare_loads, compare_ratios, prior_loads

DRAWS = 2000


@pytest.fixture(scope="module")
def drawn() -> xr.DataArray:
    return prior_loads(draws=DRAWS)


def test_the_curves_are_those_of_the_handbook() -> None:
    """Typed a second time in the tests' own table, with source and mark."""
    names = {
        "twin fluke, stock at the crown": "lightweight twin-fluke, stock at the crown",
        "twin fluke, high efficiency": "high-efficiency twin-fluke",
        "stockless, fixed flukes": "stockless, fixed flukes",
        "stockless, movable flukes": "stockless, movable flukes",
    }
    for curve in CURVES:
        if curve.name in names:
            assert (*(curve.soft or ()), *curve.hard) == published.DRAG_ANCHOR_LAW[names[curve.name]]
    assert {curve.name for curve in CURVES} - set(names) == {"stockless, flukes at 48°"}


def test_a_curve_at_another_mass_is_the_power_law() -> None:
    # 25 lb of the last row but one, soft: 96.9 lbf; of the first, hard: 1,044 lbf (computed from the law).
    assert at_mass(CURVES[3], "soft", 25 * 0.45359237) / 4.4482216 == pytest.approx(96.9, rel=1e-3)
    assert at_mass(CURVES[0], "hard", 25 * 0.45359237) / 4.4482216 == pytest.approx(1044, rel=1e-3)


def test_every_curve_is_inside_the_priors_band_of_its_form_and_ground(drawn: xr.DataArray) -> None:
    rows = compare_loads(drawn)
    assert len(rows) == 4 * 6 + 3
    assert not [row for row in rows if not 0.05 < row["below"] < 0.95]


def test_ratios_of_forms_are_inside_but_for_the_largest(drawn: xr.DataArray) -> None:
    """High-efficiency twin flukes hold 7.7 times what a stockless one holds in mud: beyond the band."""
    outside = [row["load"] for row in compare_ratios(drawn) if not 0.05 < row["below"] < 0.95]
    assert outside == [pytest.approx(7.7, abs=0.1)]


def test_priors_that_are_out_by_ten_would_show(drawn: xr.DataArray) -> None:
    for by in (0.1, 10.0):
        assert any(not 0.05 < row["below"] < 0.95 for row in compare_loads(drawn + log(by)))

"""All draws from the prior at once, against the library drawing them one by one."""

from collections.abc import Callable

import numpy as np
import pymc as pm
import pytest
import xarray as xr
from pytensor.compile.mode import Mode
from scipy import stats

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.prior_draws import draw_prior
from holdcast.capacity.model.priors import with_overrides

DRAWS = 400
Both = tuple[xr.Dataset, xr.Dataset]


@pytest.fixture(scope="module")
def both(small_campaign: Campaign, plain_mode: Mode) -> Both:
    model = build_model(lay_out(small_campaign), with_overrides({}))
    ours = draw_prior(model, seed=8, draws=DRAWS)
    theirs = pm.sample_prior_predictive(
        DRAWS, model=model, var_names=[str(name) for name in ours], random_seed=9,
        compile_kwargs={"mode": plain_mode},
    )  # fmt: skip
    return ours, theirs["prior"].to_dataset()


def test_draws_are_finite_and_repeat_with_the_seed(small_campaign: Campaign, both: Both) -> None:
    model = build_model(lay_out(small_campaign), with_overrides({}))
    again, other = (draw_prior(model, seed=seed, draws=DRAWS) for seed in (8, 9))
    assert all(np.isfinite(values).all() for values in both[0].data_vars.values())
    assert both[0].equals(again)
    assert not both[0]["log_capacity"].equals(other["log_capacity"])


def test_names_dims_and_labels_are_the_librarys(both: Both) -> None:
    ours, theirs = both
    assert set(ours) == set(theirs)
    for name in theirs:
        assert ours[name].dims == theirs[name].dims, name
        for dim in set(theirs[name].dims) - {"chain", "draw"}:
            assert list(ours[dim].to_numpy()) == list(theirs[dim].to_numpy()), name


def test_every_number_has_the_librarys_distribution(both: Both) -> None:
    ours, theirs = both
    compared = 0
    for name in theirs:
        one, other = (each[name].to_numpy().reshape(DRAWS, -1).T for each in (ours, theirs))
        for mine, its in zip(one, other, strict=True):
            if its.std() < 1e-9:  # a measurement that was made
                np.testing.assert_allclose(mine, its)
                continue
            # A wrong spread or mean gives far less; some hundred numbers are compared.
            assert stats.ks_2samp(mine, its).pvalue > 1e-5, name
            compared += 1
    assert compared > 50


def test_normals_about_a_moving_level_are_standard_about_their_means(
    small_campaign: Campaign, both: Both
) -> None:
    """In closed form, draw by draw: far sharper than comparing two samples."""
    inputs, priors, ours = lay_out(small_campaign), with_overrides({}), both[0]
    soil = ours["ground_soil"].isel(soil=inputs["soil_of"])
    mean = ours["ground_typical"] + soil + ours["ground_strength_slope"] * ours["strength"]
    resistance = priors["resistance_deviation"].parameters
    standard = {
        "ground": (ours["ground"] - mean) / ours["ground_spread"],
        "form_typical": ours["form_typical"] / ours["form_spread"],
        "resistance_deviation": (ours["resistance_deviation"] - resistance["mean"]) / resistance["sd"],
    }
    for typical in ("ground_typical", "resistance_typical"):
        told = priors[typical].parameters
        standard[typical] = (ours[typical] - told["mean"]) / told["sd"]
    for name, values in standard.items():
        flat = values.to_numpy().ravel()
        assert stats.kstest(flat, "norm").pvalue > 1e-4, name
        assert abs(flat.std() - 1.0) < 4.0 / np.sqrt(2.0 * flat.size), name


def test_variables_of_one_draw_belong_together(both: Both) -> None:
    ours, theirs = both
    pairs: list[Callable[[xr.Dataset], tuple[xr.DataArray, xr.DataArray]]] = [
        lambda drawn: (drawn["ground_typical"], drawn["ground"].isel(seabed=0)),
        lambda drawn: (drawn["form_effect"].isel(form=0, seabed=0), drawn["form_typical"].isel(form=0)),
        lambda drawn: (drawn["log_capacity"].isel(anchor=0, seabed=0), drawn["ground"].isel(seabed=0)),
    ]
    for pair in pairs:
        mine, its = (float(xr.corr(*pair(drawn))) for drawn in (ours, theirs))
        assert abs(np.arctanh(mine) - np.arctanh(its)) < 4.0 * np.sqrt(2.0 / DRAWS)
        assert its > 0.3


def test_a_variable_of_another_kind_is_refused() -> None:
    with pm.Model() as model:
        spread = pm.HalfNormal("spread")
        pm.CustomDist("other", spread, dist=lambda spread, size: pm.Laplace.dist(0.0, spread, size=size))
    with pytest.raises(NotImplementedError, match="other is a"):
        draw_prior(model, seed=1)

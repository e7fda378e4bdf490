"""The sampler's density, gradient and derived variables against the modelling library's own functions."""

from functools import reduce
from operator import add
from typing import Any

import numpy as np
import pymc as pm
import pytensor
import pytensor.tensor as pt
import pytest
import xarray as xr
from pytensor.compile.mode import Mode

from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.compiling import CompiledModel
from holdcast.capacity.sampler.density import Layout, lay_out_point
from holdcast.capacity.sampler.derived import Derivation

Fitted = tuple[Any, CompiledModel]


def named_point(layout: Layout, point: np.ndarray) -> dict[str, np.ndarray]:
    """Return a flat point as the modelling library wants it."""
    named, start = {}, 0
    for name, shape in layout.shapes.items():
        size = int(np.prod(shape))
        named[name] = point[start : start + size].reshape(shape)
        start += size
    return named


def points(layout: Layout, count: int) -> np.ndarray:
    return layout.start + np.random.default_rng(8).normal(0.0, 0.5, (count, layout.start.size))


@pytest.mark.fit
def test_density_and_gradient_are_the_modelling_librarys(
    fitted: Fitted, small_campaign: Campaign, plain_mode: Mode
) -> None:
    """Reference: pymc's Model.logp and its derivatives, run without compiling, for the model as built."""
    layout, data = fitted[1].derivation.layout, fitted[1].data
    model = build_model(lay_out(small_campaign), with_overrides({}))
    density = fitted[1].density
    values = [next(v for v in model.value_vars if v.name == name) for name in layout.shapes]
    total = reduce(add, [part.sum() for part in model.logp(sum=False)])
    reference = pytensor.function(values, [total, *pt.grad(total, values)], mode=plain_mode)
    given = points(layout, 4)
    ours = [density(point, data.numbers, data.positions) for point in given]
    theirs = [reference(*named_point(layout, point).values()) for point in given]
    np.testing.assert_allclose(
        np.diff([float(one[0]) for one in ours]), np.diff([one[0] for one in theirs]), rtol=1e-9, atol=1e-8
    )
    for (_, gradient), (_, *slopes) in zip(ours, theirs, strict=True):
        np.testing.assert_allclose(
            gradient, np.concatenate([np.ravel(slope) for slope in slopes]), rtol=1e-8, atol=1e-8
        )


@pytest.fixture(scope="module")
def layout(fitted: Fitted) -> Layout:
    return fitted[1].derivation.layout


@pytest.mark.fit
@pytest.mark.parametrize("kind", ["ground", "resistance"])
def test_what_is_typical_gives_way_to_what_soils_add(
    small_campaign: Campaign, layout: Layout, kind: str
) -> None:
    """The sampler moves the mean over seabeds, so what is typical falls when the part of one soil rises."""
    inputs = lay_out(small_campaign)
    named = named_point(layout, layout.start)
    soil = named[f"{kind}_soil"].copy()
    soil[0] += 0.6
    raised = np.concatenate([np.ravel(v) for v in {**named, f"{kind}_soil": soil}.values()])
    drawn = xr.DataArray(
        np.array([[layout.start, raised]]),
        dims=("chain", "draw", "of"),
        coords={"chain": [0], "draw": [0, 1]},
    )
    typical = Derivation(layout).variables(drawn, layout.data)[f"{kind}_typical"].isel(chain=0)
    of_this_soil = float((inputs["soil_of"] == 0).mean())
    assert 0.0 < of_this_soil < 1.0
    assert float(typical[1] - typical[0]) == pytest.approx(-0.6 * of_this_soil)


def test_derived_variables_are_the_modelling_librarys(small_campaign: Campaign, plain_mode: Mode) -> None:
    """Reference: pymc's Model.compile_fn of the same variables, one point at a time."""
    model = build_model(lay_out(small_campaign), with_overrides({}))
    layout = lay_out_point(model)
    given = points(layout, 6)
    drawn = xr.DataArray(
        given.reshape(2, 3, -1), dims=("chain", "draw", "of"), coords={"chain": [0, 1], "draw": [0, 1, 2]}
    )
    made = Derivation(layout).variables(drawn, layout.data)
    wanted = [variable for variable in model.unobserved_value_vars if not variable.name.endswith("__")]
    one_by_one = model.compile_fn(wanted, mode=plain_mode)
    assert set(made.data_vars) == {variable.name for variable in wanted}
    for place, point in enumerate(given):
        at = made.isel(chain=place // 3, draw=place % 3)
        for variable, value in zip(wanted, one_by_one(named_point(layout, point)), strict=True):
            np.testing.assert_allclose(at[variable.name], value, rtol=1e-10, atol=1e-12)
    assert made["log_capacity"].dims == ("chain", "draw", "anchor", "seabed")
    assert list(made["anchor"].to_numpy()) == list(small_campaign.anchors.index)


@pytest.mark.fit
def test_derived_variables_follow_new_data(small_campaign: Campaign, layout: Layout) -> None:
    inputs = lay_out(small_campaign)
    heavier = layout.packed(inputs.assign(log_mass_ratio=inputs["log_mass_ratio"] + 1.0))
    drawn = xr.DataArray(
        points(layout, 1)[None], dims=("chain", "draw", "of"), coords={"chain": [0], "draw": [0]}
    )
    derivation = Derivation(layout)
    change = derivation.variables(drawn, heavier) - derivation.variables(drawn, layout.data)
    # The sampled point holds the levels of forms, so heavier anchors mean forms that hold less.
    assert float(change["form_typical"].max()) < -0.1
    assert float(np.abs(change["strength"]).max()) == 0.0


def test_constant_normal_and_log_normal_priors_are_told_from_the_rest() -> None:
    with pm.Model() as model:
        place = pm.Normal("place", [1.0, 2.0], 3.0, shape=2)
        pm.LogNormal("size", np.log(5.0), 0.5)
        pm.Normal("moving", place.sum(), 1.0)
        pm.HalfNormal("half", 2.0)
        known = pm.Data("known", [2.0])
        pm.Normal("by_data", known, 1.0)
    layout = lay_out_point(model)
    assert [variable.name for variable in layout.plain] == ["place", "size"]
    assert [variable.name for variable in layout.other] == ["moving", "half", "by_data"]
    np.testing.assert_allclose(layout.moments, [1.0, 2.0, np.log(5.0), 3.0, 3.0, 0.5])


def test_packed_data_come_back_by_name(plain_mode: Mode) -> None:
    with pm.Model(coords={"thing": ["a", "b", "c"]}) as model:
        pm.Data("first", [[1.0, 2.0], [3.0, 4.0]])
        pm.Data("label", [2, 0, 1], dims="thing")
        pm.Data("second", [5.0])
        pm.Normal("free", dims="thing")
    layout = lay_out_point(model)
    data = layout.packed({"first": [[10.0, 20.0], [30.0, 40.0]], "label": [1, 1, 0], "second": [50.0]})
    point = np.array([7.0, 8.0, 9.0])
    inputs = [pt.dvector(), pt.dvector(), pt.lvector()]
    pieces = layout.unpacked(*inputs)
    found = pytensor.function(inputs, list(pieces.values()), mode=plain_mode)(
        point, data.numbers, data.positions
    )
    back = dict(zip((str(variable.name) for variable in pieces), found, strict=True))
    np.testing.assert_array_equal(back["first"], [[10.0, 20.0], [30.0, 40.0]])
    np.testing.assert_array_equal(back["label"], [1, 1, 0])
    np.testing.assert_array_equal(back["second"], [50.0])
    np.testing.assert_array_equal(back["free"], point)
    assert back["thing"] == 3
    first, label, second = layout.data_of(data)
    assert (first.shape, label.dtype.kind, float(second[0])) == ((2, 2), "i", 50.0)
    with pytest.raises(ValueError, match="lack 'second'"):
        layout.packed({"first": [[1.0, 2.0], [3.0, 4.0]], "label": [1, 1, 0]})
    with pytest.raises(ValueError, match="first is of kind int64"):
        layout.packed({"first": [[1, 2], [3, 4]], "label": [1, 1, 0], "second": [5.0]})

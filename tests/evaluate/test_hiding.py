"""What is hidden is whole, told by its label, and the model is told nothing of it."""

import numpy as np
import pymc as pm
import pytensor
import pytensor.tensor as pt
import pytest
import xarray as xr
from pytensor.compile.mode import Mode

from holdcast.capacity.likelihood.interval import interval_log_likelihood
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import default_priors
from holdcast.capacity.sampler.compiling import CompiledModel
from holdcast.capacity.sampler.density import lay_out_point
from holdcast.capacity.sampler.derived import Derivation
from holdcast.capacity.sampler.refitting import hide_pulls, with_new_data
from holdcast.evaluate.hiding import NothingToHideError, hidings


def of(inputs: xr.Dataset, name: str) -> np.ndarray:
    return inputs[name].to_numpy()[inputs[f"{name}_of"].to_numpy()]


def test_cells_are_each_hidden_once_and_whole(inputs: xr.Dataset) -> None:
    made = hidings(inputs, "cells", most=100, seed=1)
    assert np.array_equal(sum(each.hidden.astype(int) for each in made), np.ones(inputs.sizes["trial"]))
    cells = [f"{a} {s}" for a, s in zip(of(inputs, "anchor"), of(inputs, "seabed"), strict=True)]
    for each in made:
        assert not set(np.array(cells)[each.hidden]) & set(np.array(cells)[~each.hidden])


def test_a_part_does_not_make_another_size(inputs: xr.Dataset) -> None:
    made = {each.label: each.hidden for each in hidings(inputs, "sizes", most=9, seed=1)}
    assert set(made) == {"a: a-06", "a: a-15, a-15-bar"}
    assert set(of(inputs, "anchor")[made["a: a-15, a-15-bar"]]) == {"a-15", "a-15-bar"}


def test_designs_and_seabeds_are_hidden_one_at_a_time(inputs: xr.Dataset) -> None:
    assert {each.label for each in hidings(inputs, "designs", most=9, seed=1)} == {"a", "b", "c"}
    for each in hidings(inputs, "seabeds", most=9, seed=1):
        assert set(of(inputs, "seabed")[each.hidden]) == {each.label}
        assert each.label not in of(inputs, "seabed")[~each.hidden]


@pytest.mark.parametrize("kind", ["cells", "sizes", "designs", "seabeds"])
def test_a_smaller_number_is_a_choice_by_seed(inputs: xr.Dataset, kind: str) -> None:
    one = [each.label for each in hidings(inputs, kind, most=1, seed=3)]
    assert one == [each.label for each in hidings(inputs, kind, most=1, seed=3)]
    assert len(one) == 1


def test_nonsense_is_refused(inputs: xr.Dataset) -> None:
    with pytest.raises(ValueError, match=r"cannot hide 'days'.*cells, sizes, designs, seabeds"):
        hidings(inputs, "days", most=1, seed=1)
    with pytest.raises(ValueError, match="number of refits is 0"):
        hidings(inputs, "cells", most=0, seed=1)
    alone = inputs.isel(trial=of(inputs, "seabed") == "mud")
    with pytest.raises(NothingToHideError, match="two seabeds or more"):
        hidings(alone, "seabeds", most=1, seed=1)


def test_hidden_pulls_have_no_likelihood_and_no_gradient(inputs: xr.Dataset) -> None:
    hidden = of(inputs, "seabed") == "bar"
    changed = hide_pulls(inputs, hidden)
    location = pt.vector("location")
    rows = [changed[name].to_numpy() for name in ("lower", "upper", "kind")]
    likelihood = interval_log_likelihood(location, 0.5, *rows)
    slope = pytensor.grad(likelihood.sum(), location)
    evaluate = pytensor.function([location], [likelihood, slope], mode=Mode(linker="py", optimizer=None))
    value, gradient = evaluate(np.full(inputs.sizes["trial"], 7.0))
    assert np.all(np.abs(value[hidden]) < 1e-9)
    assert np.all(np.abs(gradient[hidden]) < 1e-9)
    assert np.all(np.abs(value[~hidden]) > 1e-6)


def test_levels_count_visible_pulls_only(inputs: xr.Dataset) -> None:
    assert hide_pulls(inputs, np.zeros(inputs.sizes["trial"], dtype=bool)).identical(inputs)
    changed = hide_pulls(inputs, of(inputs, "anchor") == "a-06")
    assert float(changed["pull_weight"].sel(anchor="a-06").sum()) == 0.0
    assert np.allclose(changed["pull_weight"].sum("anchor"), 1.0)
    with pytest.raises(ValueError, match=r"hidden has shape \(3,\)"):
        hide_pulls(inputs, np.zeros(3, dtype=bool))


class Recorder:
    """Stands in for the sampler's object: keeps the arrays it is given."""

    def with_data(self, **arrays: np.ndarray) -> dict[str, np.ndarray]:
        return arrays


def uncompiled(model: pm.Model) -> CompiledModel:
    layout = lay_out_point(model)
    return CompiledModel(Recorder(), None, Derivation(layout), layout.data, 0.0)


def test_new_data_are_packed_as_a_fresh_model_packs_them(
    inputs: xr.Dataset, other_inputs: xr.Dataset
) -> None:
    """Reference: the arrays that compiling a model of the other data would hold."""
    model = build_model(inputs, default_priors())
    given = with_new_data(uncompiled(model), model, other_inputs)
    fresh = lay_out_point(build_model(other_inputs, default_priors())).data
    assert set(given.sampler_model) == {"numbers", "positions"}
    for name in ("numbers", "positions"):
        assert np.array_equal(getattr(fresh, name), given.sampler_model[name])
        assert np.array_equal(getattr(fresh, name), getattr(given.data, name))
    same = with_new_data(uncompiled(model), model, inputs).sampler_model["numbers"]
    assert not np.array_equal(given.sampler_model["numbers"], same)


def test_data_of_another_layout_are_refused(inputs: xr.Dataset) -> None:
    model = build_model(inputs, default_priors())
    compiled = uncompiled(model)
    with pytest.raises(ValueError, match=r"shape \(\d+,\); the compiled model needs"):
        with_new_data(compiled, model, inputs.isel(trial=slice(0, 5)))
    with pytest.raises(ValueError, match="lack 'kind'"):
        with_new_data(compiled, model, inputs.drop_vars("kind"))
    with pytest.raises(ValueError, match="soils"):
        with_new_data(compiled, model, inputs.assign_coords(soil=["clay", "sand", "gravel"]))

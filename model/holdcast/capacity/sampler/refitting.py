"""One compiled model for many fits: new data of the same shapes, and tests hidden in their place."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pymc as pm
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.inputs.level_weights import level_weights
from holdcast.capacity.likelihood.kinds import BELOW, NOT_SAID
from holdcast.capacity.sampler.compiling import CompiledModel

__all__ = ["OPEN_END", "hide_pulls", "hide_resets_and_veers", "with_new_data"]

OPEN_END = 1000.0
"""Upper end of a hidden pull [log N].  A t with 4 degrees of freedom leaves about 12 (σ / 1000)⁴ beyond it
(computed), under 1e-10 for any scatter here, so the pull's log likelihood and its gradients are 0 and the fit
is as if the row were not there."""


def with_new_data(compiled: CompiledModel, model: pm.Model, inputs: Mapping[Any, Any]) -> CompiledModel:
    """Return a compiled model that will read other data; nothing is compiled again.

    Parameters
    ----------
    compiled : CompiledModel
        Made from `model` by :func:`holdcast.capacity.sampler.compiling.compile_model`.
    model : pymc.Model
        The model as built, its data under their own names.
    inputs : Dataset or mapping of str to array
        New values of every datum of the model, in the same shapes.

    Returns
    -------
    CompiledModel
        Its draws still carry the labels of the first data.

    Raises
    ------
    ValueError
        When a datum is missing or of another shape, the soils differ (their rate priors are part of the
        compiled code), or the number of designs does.
    """
    _same_soils(model, inputs)
    _same_number_of_designs(model, inputs)
    return compiled.with_data(inputs)


def _same_soils(model: pm.Model, inputs: Mapping[Any, Any]) -> None:
    compiled_for = model.coords.get("soil")
    if compiled_for is None or "soil" not in getattr(inputs, "coords", {}):
        return
    new = [str(soil) for soil in np.asarray(inputs["soil"])]
    if new != [str(soil) for soil in compiled_for]:
        raise ValueError(
            f"the new data have the soils {new}; the model was compiled for {list(compiled_for)}"
        )


def _same_number_of_designs(model: pm.Model, inputs: Mapping[Any, Any]) -> None:
    compiled_for = model.coords.get("design")
    if compiled_for is None or "design" not in getattr(inputs, "coords", {}):
        return
    new = len(np.asarray(inputs["design"]))
    if new != len(compiled_for):
        raise ValueError(f"the new data have {new} designs; the model was compiled for {len(compiled_for)}")


def hide_pulls(inputs: xr.Dataset, hidden: NDArray[np.bool_]) -> xr.Dataset:
    """Return the inputs with some pulls telling nothing, every shape and label kept.

    Parameters
    ----------
    inputs : Dataset
        As made by :func:`holdcast.capacity.inputs.layout.lay_out`.
    hidden : array of bool, shape (trial,)
        True where a pull is to be hidden.

    Returns
    -------
    Dataset
        Hidden rows lie below `OPEN_END`, which is no information.  The weights by which the sampler levels
        ground and forms count the visible pulls only.

    Raises
    ------
    ValueError
        When `hidden` does not have one entry a pull.
    """
    if hidden.shape != (inputs.sizes["trial"],):
        raise ValueError(
            f"hidden has shape {hidden.shape}; one entry for each of {inputs.sizes['trial']} pulls"
        )
    shown = xr.DataArray(~hidden, dims="trial")
    changed = {name: inputs[name].where(shown, OPEN_END) for name in ("lower", "upper")}
    changed["kind"] = inputs["kind"].where(shown, BELOW).astype(np.int64)
    for name in ("fall_lower", "fall_upper", "fall_slope", "speed"):
        changed[name] = inputs[name].where(shown, 0.0)
    changed["setting"] = inputs["setting"].where(shown, NOT_SAID).astype(np.int64)
    changed_inputs = inputs.assign(changed)
    return changed_inputs.assign(level_weights(changed_inputs, ~hidden))


def hide_resets_and_veers(
    inputs: xr.Dataset, resets: NDArray[np.bool_], veers: NDArray[np.bool_]
) -> xr.Dataset:
    """Return the inputs with some resets and veers telling nothing, every shape and label kept.

    Parameters
    ----------
    inputs : Dataset
        As made by :func:`holdcast.capacity.inputs.layout.lay_out`, no pull of it hidden yet.
    resets, veers : arrays of bool, shapes (reset,) and (veer,)
        True where a test is to be hidden.

    Returns
    -------
    Dataset
        A hidden reset has no attempts; a hidden veer lies below `OPEN_END`.

    Raises
    ------
    ValueError
        When there is not one entry a test.
    """
    if resets.shape != (inputs.sizes["reset"],) or veers.shape != (inputs.sizes["veer"],):
        raise ValueError(
            f"resets and veers have shapes {resets.shape} and {veers.shape}; one entry for each of "
            f"{inputs.sizes['reset']} resets and {inputs.sizes['veer']} veers"
        )
    if not (resets.any() or veers.any()):
        return inputs
    shown = {"reset": xr.DataArray(~resets, dims="reset"), "veer": xr.DataArray(~veers, dims="veer")}
    blanks: dict[str, tuple[str, float]] = {
        **dict.fromkeys(("attempts", "successes", "reset_judged"), ("reset", 0)),
        **{f"veer_{end}": ("veer", OPEN_END) for end in ("lower", "upper")},
        **{f"veer_{name}": ("veer", 0.0) for name in ("fall_lower", "fall_upper", "fall_slope", "speed")},
        **{f"turn_{end}": ("veer", 0.0) for end in ("lower", "upper")},
        "veer_kind": ("veer", BELOW),
    }
    changed = inputs.assign(
        {
            name: inputs[name].where(shown[kind], blank).astype(inputs[name].dtype)
            for name, (kind, blank) in blanks.items()
            if name in inputs
        }
    )
    return changed.assign(level_weights(changed, np.ones(inputs.sizes["trial"], dtype=bool)))

"""Weights of the levels by which the sampler sees the ground and the forms (docs/model.md): pulls counted."""

from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.likelihood.kinds import ABOVE, DID_NOT_SET

__all__ = ["level_weights"]


def level_weights(inputs: xr.Dataset, shown: NDArray[np.bool_]) -> dict[str, Any]:
    """Return shares of the pulls, for means over the pulls in a seabed and over those of a form.

    They steer the sampler only: model and priors are the same whatever they are.

    Parameters
    ----------
    inputs : Dataset
        Positions (``anchor_of``, ``seabed_of``, ``visit_of``, ``spot_of``, ``form_of``), kinds and falls of
        all pulls; ``instrument_share`` (spot, instrument).
    shown : array of bool, shape (trial,)
        True for the pulls that count.

    Returns
    -------
    dict
        Variables of a Dataset: ``pull_weight`` (anchor, seabed) and ``visit_weight`` (visit, seabed), shares
        of the pulls in each seabed; ``instrument_weight`` (instrument, seabed), the share of them that each
        instrument read; ``mean_fall`` (seabed), their mean fall with the angle; ``form_weight``
        (form, anchor, seabed), shares of the pulls of each form; ``set_weight`` (anchor, seabed), shares of
        all pulls and attempts to set again.  All 0 where there is none.
    """
    sizes = inputs.sizes
    tries = _tries(inputs, shown)
    # A pull that did not set says nothing of capacity.
    shown = shown & (inputs["setting"].to_numpy() != DID_NOT_SET)
    of = {name: inputs[f"{name}_of"].to_numpy()[shown] for name in ("anchor", "seabed", "visit")}
    pulls, days = (
        _counted(of[name], of["seabed"], (sizes[name], sizes["seabed"])) for name in ("anchor", "visit")
    )
    in_seabed = np.maximum(pulls.sum(axis=0), 1.0)
    read = np.zeros((sizes["seabed"], sizes["instrument"]))
    np.add.at(read, of["seabed"], inputs["instrument_share"].to_numpy()[inputs["spot_of"].to_numpy()[shown]])
    # A pull open above has no upper end: its angle is that of the load it held.
    fall = inputs["fall_upper"].where(inputs["kind"] != ABOVE, inputs["fall_lower"]).to_numpy()[shown]
    is_form = np.arange(sizes["form"])[:, None] == inputs["form_of"].to_numpy()
    by_form = is_form[:, :, None] * pulls
    of_form = np.maximum(by_form.sum(axis=(1, 2), keepdims=True), 1.0)
    return {
        "pull_weight": (("anchor", "seabed"), pulls / in_seabed),
        "visit_weight": (("visit", "seabed"), days / in_seabed),
        "instrument_weight": (("instrument", "seabed"), read.T / in_seabed),
        "mean_fall": ("seabed", np.bincount(of["seabed"], fall, minlength=sizes["seabed"]) / in_seabed),
        "form_weight": (("form", "anchor", "seabed"), by_form / of_form),
        "set_weight": (("anchor", "seabed"), tries / max(tries.sum(), 1.0)),
    }


def _tries(inputs: xr.Dataset, shown: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return how often each anchor was set or tried to set again in each seabed."""
    tries = np.zeros((inputs.sizes["anchor"], inputs.sizes["seabed"]))
    np.add.at(tries, (inputs["anchor_of"].to_numpy()[shown], inputs["seabed_of"].to_numpy()[shown]), 1.0)
    resets = inputs["reset_anchor"].to_numpy(), inputs["reset_seabed"].to_numpy()
    np.add.at(tries, resets, inputs["attempts"].to_numpy())
    return tries


def _counted(
    rows: NDArray[np.int64], seabeds: NDArray[np.int64], shape: tuple[int, int]
) -> NDArray[np.float64]:
    counts = np.zeros(shape)
    np.add.at(counts, (rows, seabeds), 1.0)
    return counts

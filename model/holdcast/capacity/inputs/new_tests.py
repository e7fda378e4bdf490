"""A fit's log with new rows behind it, as the model is told of a log."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.campaign.rode_geometry import rode_geometry
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.log_tables import log_table
from holdcast.physics.rode.make_up import Rode, make_rode

__all__ = ["lay_out_with", "log_with", "rode_of_each"]

_TRIAL_COLUMNS = (
    *("anchor", "seabed", "test", "visit", "status", "held_n", "released_n", "set", "load_at", "instrument"),
    *("speed_mps", "scope", "rode_length_m", "depth_m", "bow_height_m", "rode", "chain_kg_per_m"),
    *("chain_length_m", "attempts", "successes", "reversal_deg", "veer_deg", "veer_held_deg"),
)
"""What the model reads of a test."""


def log_with(tree: xr.DataTree, rows: pd.DataFrame) -> Campaign:
    """Return a fit's campaign, as far as the model reads it, with new trials behind the old ones.

    Parameters
    ----------
    tree : DataTree
        Of a fit.
    rows : DataFrame, index trial
        New trials, as ``Campaign.trials``.
    """
    trials = pd.concat([log_table(tree, "trials")[list(_TRIAL_COLUMNS)], rows[list(_TRIAL_COLUMNS)]])
    inputs, attributes = tree["constant_data"].to_dataset(), tree.attrs
    has_errors = "instrument_error_sd" in inputs
    error = inputs["instrument_error_sd"].to_series() if has_errors else pd.Series(dtype=float)
    return Campaign(
        source=Path(),
        digest="",
        title=str(attributes["title"]),
        author=str(attributes["author"]),
        licence=str(attributes["licence"]),
        units=str(attributes["units"]),
        anchors=log_table(tree, "anchors"),
        seabeds=log_table(tree, "seabeds"),
        trials=trials.rename_axis("trial"),
        rodes=log_table(tree, "rodes") if "rodes" in tree.children else pd.DataFrame(),
        instruments=pd.DataFrame({"error_pct": 100.0 * error}),
        boat=json.loads(str(attributes.get("boat", "{}"))),
        thresholds={},
        priors={},
        weights={},
        doubts=(),
    )


def lay_out_with(tree: xr.DataTree, rows: pd.DataFrame) -> xr.Dataset:
    """Return what the model would be told of a fit's log and new trials, see :func:`.layout.lay_out`.

    ``pull_is_new`` (trial), ``reset_is_new`` (reset) and ``veer_is_new`` (veer) tell them apart.
    """
    inputs = lay_out(log_with(tree, rows))
    return inputs.assign(
        {
            f"{name}_is_new": (dim, np.isin(inputs[dim].to_numpy().astype(str), list(map(str, rows.index))))
            for name, dim in (("pull", "trial"), ("reset", "reset"), ("veer", "veer"))
        }
    )


def rode_of_each(campaign: Campaign, rows: pd.DataFrame) -> dict[str, Rode | None]:
    """Return the rode of each test by its label; None where it is not known, and the test counts as read."""
    geometry = rode_geometry(campaign, rows)
    rodes: dict[str, Rode | None] = {}
    for label, row in geometry.iterrows():
        measures = row[["depth_m", "length_m", "chain_kg_per_m", "chain_length_m", "bow_m"]].astype(float)
        depth, length, weight, reach, bow = measures
        # Where there is no chain its weight is of no account, but must be a number.
        weight = 1.0 if reach == 0.0 else weight
        whole = bool(row["known"])
        rodes[str(label)] = make_rode(depth, length, weight, reach, bow_height_m=bow) if whole else None
    return rodes

"""The capacity of every anchor in every seabed, tested or not, with its bands."""

import json

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.draws.anchors import known_anchor
from holdcast.answers.draws.bands import BANDS, band
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.draws.new_pull import new_pull
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.answers.draws.setting import chances_of_setting, setting_shares
from holdcast.answers.draws.tested_range import inside_or_outside, outside_of
from holdcast.capacity.fitting import Fit
from holdcast.physics.units import GRAVITY

__all__ = ["WORDS", "cell_facts", "cells", "range_words"]

_CELL = ("anchor", "seabed")
_COUNTS = (
    *("evidence", "pulls", "visits", "bounded", "never_set"),
    *("reset_attempts", "reset_successes", "veers"),
)
WORDS = {
    "sets": "chance that the anchor of a new pull digs in",
    "resets": "chance that it digs in again after a reversal of 180 degrees",
    "veer_kept": "share of a straight pull's capacity left after a turn of 180 degrees under load",
}


def cells(fit: Fit) -> xr.Dataset:
    """Return capacity, efficiency and a new pull for every anchor × seabed.

    Parameters
    ----------
    fit : Fit
        A fitted campaign.

    Returns
    -------
    Dataset, dims (anchor, seabed, quantile)
        ``capacity_n``, ``new_pull_n`` [N], ``efficiency`` [1] at the quantiles of all bands; ``evidence``,
        ``pulls``, ``visits``, ``bounded`` (see :func:`holdcast.answers.draws.counts.counts`), ``own_data``,
        ``own_data_rough`` (see :func:`holdcast.answers.cells.own_data.own_data`), ``range``,
        ``above_threshold`` (chance that a pull sets and the efficiency lies above; NaN without a threshold),
        dims (anchor, seabed).  ``sets``, ``resets``, ``veer_kept`` (anchor, seabed, quantile) [1], the last
        two where the log holds such tests; ``reset_attempts``, ``reset_successes``, ``veers``, ``never_set``
        (anchor, seabed).
    """
    # Imported here: other answers import this module and need none of the likelihood's compiler.
    from holdcast.answers.cells.own_data import own_data

    draws = draws_of(fit)
    log_capacity = draws.posterior["log_capacity"]
    capacity = _exp(log_capacity)
    weight = fit.tree["anchors"].to_dataset()["mass_kg"] * GRAVITY
    efficiency = capacity / weight
    answer = xr.Dataset(
        {
            "capacity_n": band(capacity).assign_attrs(
                about("N", "capacity: median load that breaks a new straight pull out")
            ),
            "efficiency": band(efficiency).assign_attrs(
                about("1", "holding efficiency: capacity over weight in air")
            ),
            "new_pull_n": _new_pulls(draws),
            **counts(draws)[list(_COUNTS)].data_vars,
            **_setting(draws),
            **own_data(fit).data_vars,
            "range": range_words(draws),
            "above_threshold": _above(draws, efficiency, json.loads(fit.tree.attrs["thresholds"])),
        },
        attrs=provenance(fit, draws.seed),
    )
    return answer.assign_coords(cell_facts(draws)).transpose(*_CELL, "quantile")


def _new_pulls(draws: Draws) -> xr.DataArray:
    """Return quantiles of one new pull in each cell [N]."""
    anchors = [known_anchor(draws, label) for label in draws.labels("anchor")]
    seabeds = [known_seabed(draws, label) for label in draws.labels("seabed")]
    loads = [new_pull(draws, anchors, seabed).quantiles_n(BANDS) for seabed in seabeds]
    labels = {dim: draws.labels(dim) for dim in ("seabed", "anchor")}
    attributes = about("N", "one new pull on a new visit")
    return xr.DataArray(
        np.array(loads),
        {**labels, "quantile": list(BANDS)},
        ("seabed", "anchor", "quantile"),
        attrs=attributes,
    )


def range_words(draws: Draws) -> xr.DataArray:
    """Return the words of ``range`` for every cell."""
    inputs = draws.inputs
    measures = inputs[["log_tip_load", "log_area_excess"]].to_dataframe()
    anchors = draws.anchors.reindex(columns=["mass_kg", "design", "fluke_angle_deg"]).join(measures)
    seabeds = draws.seabeds.reindex(columns=["soil", "cover"]).join(inputs["strength_index"].to_series())
    labels = [draws.labels(dim) for dim in _CELL]
    rows = pd.DataFrame(index=pd.MultiIndex.from_product(labels, names=_CELL)).join(anchors).join(seabeds)
    words = inside_or_outside(outside_of(draws, rows)).reshape(*map(len, labels))
    return xr.DataArray(words, dict(zip(_CELL, labels, strict=True)), _CELL, attrs=about("1", "range"))


def _setting(draws: Draws) -> dict[str, xr.DataArray]:
    """Return bands of the chances of setting and setting again, and of what is kept in a turn."""
    return {
        name: band(values).assign_attrs(about("1", WORDS[name]))
        for name, values in setting_shares(draws).items()
    }


def _exp(values: xr.DataArray) -> xr.DataArray:
    return values.copy(data=np.exp(values.to_numpy()))


def _above(draws: Draws, efficiency: xr.DataArray, thresholds: dict[str, float]) -> xr.DataArray:
    efficiencies = thresholds.get("efficiency")
    chance = (
        chances_of_setting(draws) * (efficiency > (np.inf if efficiencies is None else efficiencies))
    ).mean("sample")
    return chance.where(efficiencies is not None).assign_attrs(about("1", "above threshold"))


def cell_facts(draws: Draws) -> dict[str, object]:
    """Return coordinates that describe anchors and seabeds."""
    described = {"anchor": ("design", "form", "mass_kg"), "seabed": ("soil", "strength")}
    tables = {"anchor": draws.anchors, "seabed": draws.seabeds}
    return {
        name: (dim, tables[dim][name].reindex(draws.labels(dim)).to_numpy())
        for dim, names in described.items()
        for name in names
    }

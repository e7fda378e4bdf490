"""New trials without a refit: a fit's cells once they are known, and how far out each of them lies."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.draws.bands import BAND_90
from holdcast.answers.draws.draws import Draws, Floats, draws_of
from holdcast.answers.readings.surprise import surprise
from holdcast.answers.readings.update import even_weight, updated_draws
from holdcast.answers.readings.updated_cells import updated_cells
from holdcast.answers.readings.weights import LEAST_DRAWS, Weights, weighted_bands
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.new_tests import lay_out_with, log_with, rode_of_each

__all__ = ["LEAST_DRAWS", "Added", "add"]

_PART_OF_TEST = {"reset": "resets_log_odds", "veer": "turn"}


@dataclass(frozen=True)
class Added:
    """What new trials change.

    Attributes
    ----------
    cells : Dataset, see :func:`holdcast.answers.readings.updated_cells.updated_cells`.
    surprise : DataFrame, see :func:`holdcast.answers.readings.surprise.surprise`.
    moves : DataFrame, a row for each cell, the most changed first
        ``anchor``, ``seabed``; ``before_n`` and ``after_n`` with ``_q05 _q50 _q95`` [N]; ``moved``: change of
        the median in widths of the old 90% band, on the log scale [1]; ``narrowed``: share of the band's log
        width that is gone [1]; ``holds``: whether the update holds; ``new_tests``: how many it got.
    weights : Weights
    by_steps : bool
        Whether the draws were led to the new tests by steps, since their weights could not carry an update.
    left_out : DataFrame
        ``trial``, ``why``: rows that could not count.
    """

    cells: xr.Dataset
    surprise: pd.DataFrame
    moves: pd.DataFrame
    weights: Weights
    by_steps: bool
    left_out: pd.DataFrame


def add(fit: Fit, rows: pd.DataFrame, own_data: xr.DataArray | None = None) -> Added:
    """Return what new trials change, the fit's draws weighted by their likelihood.

    Parameters
    ----------
    fit : Fit
    rows : DataFrame, index trial
        New trials, checked, as ``Campaign.trials``; anchors and seabeds are those of the fit.
    own_data : DataArray, dims (anchor, seabed), optional
        Of the fit's table of cells; without it the new one is not told.

    Raises
    ------
    KeyError
        When an anchor or a seabed is not the fit's.
    """
    draws = draws_of(fit)
    for dim in ("anchor", "seabed"):
        draws.labels(dim, list(map(str, rows[dim].unique())))
    left_out = _left_out(rows, {test for test, part in _PART_OF_TEST.items() if part not in draws})
    counted = rows[~rows.index.isin(left_out["trial"])]
    log = log_with(fit.tree, counted)
    inputs = lay_out_with(fit.tree, counted)
    update = updated_draws(draws, inputs)
    cells = updated_cells(update, inputs, log.trials, _own_precision(draws, own_data))
    moves = _moves(np.exp(weighted_bands(draws["log_capacity"], even_weight(draws))), cells, counted)
    unusual = surprise(draws, inputs, counted, rode_of_each(log, counted))
    return Added(cells, unusual, moves, update.weights, update.by_steps, left_out)


def _own_precision(draws: Draws, own_data: xr.DataArray | None) -> Floats:
    """Return the precision of each log capacity that the fit owes to the cell's own pulls [1]."""
    variance = draws["log_capacity"].var(axis=0)
    if own_data is None:
        return np.full(variance.shape, np.nan)
    share = own_data.sel({dim: draws.labels(dim) for dim in ("anchor", "seabed")}).to_numpy()
    return np.asarray((1.0 - (1.0 - share) ** 2) / variance)


def _left_out(rows: pd.DataFrame, without_part: set[str]) -> pd.DataFrame:
    """Return the rows that cannot count, and why."""
    reasons = []
    for label, row in rows.iterrows():
        if row["status"] != "used":
            reasons.append((str(label), f"excluded: {row['exclude']}"))
        elif row["test"] in without_part:
            why = f"the fit's log holds no {row['test']}, so the fit has no part for one; a refit takes it in"
            reasons.append((str(label), why))
    return pd.DataFrame(reasons, columns=["trial", "why"])


def _moves(before: Floats, cells: xr.Dataset, rows: pd.DataFrame) -> pd.DataFrame:
    places = [list(cells["quantile"].to_numpy()).index(at) for at in BAND_90]
    old, new = before[..., places], cells["capacity_n"].to_numpy()[..., places]
    width, width_now = (np.log(band[..., 2] / band[..., 0]) for band in (old, new))
    table = pd.MultiIndex.from_product(
        [cells["anchor"].to_numpy(), cells["seabed"].to_numpy()], names=["anchor", "seabed"]
    ).to_frame(index=False)
    for name, band in (("before_n", old), ("after_n", new)):
        for place, at in enumerate(BAND_90):
            table[f"{name}_q{round(100 * at):02d}"] = band[..., place].ravel()
    table["moved"] = (np.log(new[..., 1] / old[..., 1]) / width).ravel()
    table["narrowed"] = (1.0 - width_now / width).ravel()
    table["holds"] = cells["update_holds"].to_numpy().ravel()
    number = rows.groupby(["anchor", "seabed"]).size()
    table["new_tests"] = number.reindex(
        list(zip(table["anchor"], table["seabed"], strict=True)), fill_value=0
    ).to_numpy()
    return table.sort_values("moved", key=lambda column: -column.abs(), kind="stable").reset_index(drop=True)

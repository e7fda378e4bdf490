"""The table of cells once new tests are known: every column that a fit gives, from weighted draws."""

import json

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray
from scipy.special import expit, ndtr, stdtr

from holdcast.answers.cells.cells import WORDS, cell_facts, range_words
from holdcast.answers.draws.anchors import known_anchor
from holdcast.answers.draws.bands import BANDS
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.new_pull import new_pull
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.answers.draws.setting import log_sliding_load, setting_shares
from holdcast.answers.readings.expected import MOST_DRAWS, PulledFrom, levels_at, levels_of_each
from holdcast.answers.readings.update import Update
from holdcast.answers.readings.weights import weighted_bands
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, DEGREES_OF_FREEDOM, DID_NOT_SET, SET, UNREAD
from holdcast.capacity.pointwise.setting import chances_of_word
from holdcast.physics.units import GRAVITY

__all__ = ["updated_cells"]

_CELL = ("anchor", "seabed")
_BAND = (*_CELL, "quantile")
_COUNTS = (
    *("evidence", "pulls", "visits", "bounded", "never_set"),
    *("reset_attempts", "reset_successes", "veers"),
)


def updated_cells(update: Update, inputs: xr.Dataset, trials: pd.DataFrame, own_before: Floats) -> xr.Dataset:
    """Return capacity, efficiency and a new pull for every anchor × seabed, new tests counted.

    Parameters
    ----------
    update : Update
        Draws and weights that count the new tests.
    inputs : Dataset
        Of the log with the new tests, see :func:`holdcast.capacity.inputs.new_tests.lay_out_with`.
    trials : DataFrame, index trial
        The log with the new tests.
    own_before : array, shape (anchor, seabed)
        Precision of the log capacity that the fit owes to the cell's own pulls [1]; NaN where not known.

    Returns
    -------
    Dataset, dims (anchor, seabed, quantile)
        As from :func:`holdcast.answers.cells.cells.cells`, and ``update_holds`` (anchor, seabed).
    """
    draws, weight = update.draws, update.weight
    log_weight = np.log(draws.anchors["mass_kg"].to_numpy(dtype=float) * GRAVITY)[:, None, None]
    bands = weighted_bands(draws["log_capacity"], weight)
    log = _log_with(draws, inputs, trials)
    capacity = about("N", "capacity: median load that breaks a new straight pull out")
    efficiency = about("1", "holding efficiency: capacity over weight in air")
    answer = xr.Dataset(
        {
            "capacity_n": (_BAND, np.exp(bands), capacity),
            "efficiency": (_BAND, np.exp(bands - log_weight), efficiency),
            "new_pull_n": (_BAND, _new_pulls(draws, weight), about("N", "one new pull on a new visit")),
            **counts(log)[list(_COUNTS)].data_vars,
            **_setting(draws, weight),
            "own_data": (
                _CELL,
                _own_data(draws, inputs, weight, own_before),
                about("1", "share of certainty owed to own pulls"),
            ),
            "range": range_words(log),
            "above_threshold": (_CELL, _above(draws, weight), about("1", "above threshold")),
            "update_holds": (_CELL, update.holds, about("1", "whether the update of the cell holds")),
        },
        {**{dim: draws.labels(dim) for dim in _CELL}, "quantile": list(BANDS)},
        attrs=provenance(draws.fit, draws.seed),
    )
    return answer.assign_coords(cell_facts(draws))


def _log_with(draws: Draws, inputs: xr.Dataset, trials: pd.DataFrame) -> Draws:
    """Return the same draws beside the log with the new tests, for what is counted in the log."""
    before = draws.fit.tree
    new = inputs["pull_is_new"].to_numpy()
    had_set = np.empty(len(new))
    had_set[~new] = before["constant_data"]["had_set"].to_numpy()
    had_set[new] = _chance_had_set(draws, inputs.isel(trial=new))
    columns = trials[["anchor", "seabed", "test", "status"]].astype(str)
    tree = xr.DataTree.from_dict(
        {
            "constant_data": inputs.assign(had_set=("trial", had_set)),
            "anchors": before["anchors"].to_dataset(),
            "seabeds": before["seabeds"].to_dataset(),
            "trials": xr.Dataset.from_dataframe(columns),
            "posterior": before["posterior"].to_dataset(),
        }
    )
    tree.attrs = dict(before.attrs)
    return Draws(Fit(tree, draws.fit.verdict), draws.seed)


def _chance_had_set(draws: Draws, pulls: xr.Dataset) -> Floats:
    """Return the chance that each new pull's anchor had set, the middles of the draws standing for all."""
    cell = pulls["anchor_of"].to_numpy(), pulls["seabed_of"].to_numpy()
    kind, setting = pulls["kind"].to_numpy(), pulls["setting"].to_numpy()
    lower = np.where(kind == BELOW, -np.inf, pulls["lower"].to_numpy() - 1e-3)
    upper = np.where(kind == ABOVE, np.inf, pulls["upper"].to_numpy() + 1e-3)
    sets = expit(np.median(draws["sets_log_odds"], axis=0))[cell]
    location = np.median(draws["log_capacity"], axis=0)[cell]
    scale = np.median(draws["pull_scatter"], axis=0)[cell[1]]
    sliding = np.median(log_sliding_load(draws, 1.0)) + np.log(draws.anchors["mass_kg"].to_numpy()[cell[0]])
    spread = np.median(draws["sliding_scatter"])
    ends = np.stack([lower, upper])
    held = np.diff(stdtr(DEGREES_OF_FREEDOM, (ends - location) / scale), axis=0)[0]
    slid = np.diff(ndtr((ends - sliding) / spread), axis=0)[0]
    word_if_set, word_if_slid = chances_of_word(setting, kind)
    had_set = sets * word_if_set * np.where(kind == UNREAD, 0.0, held)
    had_slid = (1.0 - sets) * word_if_slid * np.where((setting == SET) & (kind == ABOVE), 0.0, slid)
    return np.asarray(had_set / np.maximum(had_set + had_slid, 1e-300))


def _new_pulls(draws: Draws, weight: Floats) -> Floats:
    """Return quantiles of one new pull in each cell [N], shape (anchor, seabed, band)."""
    anchors = [known_anchor(draws, label) for label in draws.labels("anchor")]
    # Draws taken in proportion to their weights, at even steps: no random number.
    steps = (np.arange(MOST_DRAWS) + 0.5) / MOST_DRAWS
    places: NDArray[np.int64] = np.minimum(np.searchsorted(np.cumsum(weight), steps), len(weight) - 1)
    pulls = [
        new_pull(draws, anchors, known_seabed(draws, label)).of_draws(places)
        for label in draws.labels("seabed")
    ]
    levels = levels_of_each(pulls, [PulledFrom(load_at="anchor")] * len(pulls))
    return np.stack([levels_at(each, BANDS) for each in levels], axis=1)


def _setting(draws: Draws, weight: Floats) -> dict[str, tuple[tuple[str, ...], Floats, dict[str, str]]]:
    return {
        name: (_BAND, weighted_bands(values.to_numpy(), weight), about("1", WORDS[name]))
        for name, values in setting_shares(draws).items()
    }


def _above(draws: Draws, weight: Floats) -> Floats:
    threshold = json.loads(draws.fit.tree.attrs["thresholds"]).get("efficiency")
    if threshold is None:
        return np.full(draws["log_capacity"].shape[1:], np.nan)
    log_weight = np.log(draws.anchors["mass_kg"].to_numpy(dtype=float) * GRAVITY)
    above = draws["log_capacity"] - log_weight[:, None] > np.log(threshold)
    return np.asarray(np.tensordot(weight, expit(draws["sets_log_odds"]) * above, axes=1))


def _own_data(draws: Draws, inputs: xr.Dataset, weight: Floats, before: Floats) -> Floats:
    """Return how much of each cell's certainty is owed to its own pulls; roughly, as normals' precisions add.

    The own tests' precision is that of the fit, and for each new spot on which pulls set 1 / (visit² +
    spot² + scatter² / pulls), the middles of the draws standing for all.
    """
    log_capacity = draws["log_capacity"]
    mean = np.tensordot(weight, log_capacity, axes=1)
    variance = np.tensordot(weight, (log_capacity - mean) ** 2, axes=1)
    new = 1.0 / np.maximum(variance, 1e-12)
    own = before + _own_precision(draws, inputs)
    prior = 1.0 / draws.prior["log_capacity"].var("sample").to_numpy() if "prior" in draws.fit.tree else 0.0
    without = np.clip(new - own, np.minimum(prior, new), new)
    tested = np.zeros(new.shape, dtype=bool)
    tested[inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy()] = True
    return np.asarray(np.where(tested, 1.0 - np.sqrt(without / new), 0.0))


def _own_precision(draws: Draws, inputs: xr.Dataset) -> Floats:
    new = (inputs["pull_is_new"] & (inputs["setting"] != DID_NOT_SET)).to_numpy()
    spots, pulls = np.unique(inputs["spot_of"].to_numpy()[new], return_counts=True)
    cell = inputs["spot_anchor"].to_numpy()[spots], inputs["spot_seabed"].to_numpy()[spots]
    variance = (
        np.median(draws["visit_spread"]) ** 2
        + np.median(draws["spot_spread"]) ** 2
        + np.median(draws["pull_scatter"], axis=0)[cell[1]] ** 2 / pulls
    )
    precision = np.zeros(draws["log_capacity"].shape[1:])
    np.add.at(precision, cell, 1.0 / variance)
    return precision

"""How likely each draw of a fit makes tests that the fit has not seen."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.draws import Draws, Floats
from holdcast.capacity.likelihood.pull_loop import PULL_COLUMNS
from holdcast.capacity.likelihood.reset_loop import RESET_COLUMNS
from holdcast.capacity.likelihood.veer_loop import VEER_COLUMNS
from holdcast.capacity.new_tests import Effects, NewSpots, new_log_likelihood
from holdcast.physics.units import GRAVITY

__all__ = ["likelihood_of_new"]

Places = NDArray[np.int64]


def likelihood_of_new(draws: Draws, inputs: xr.Dataset) -> Floats:
    """Return the log likelihood of the new tests for each draw, up to a constant, shape (sample,).

    Parameters
    ----------
    draws : Draws
    inputs : Dataset
        Of the log with the new tests, see :func:`holdcast.capacity.inputs.new_tests.lay_out_with`.

    Notes
    -----
    What a new visit and a new spot do is integrated; on a visit or spot that the fit knows it is the draw's.
    """
    touched = _touched_spots(inputs)
    if not len(touched):
        return np.zeros(draws.samples)
    visits, visit_of = np.unique(inputs["spot_visit"].to_numpy()[touched], return_inverse=True)
    pull_columns, earlier = _pulls_of(inputs, touched, visit_of)
    others = {kind: _others(inputs, kind, touched, visits) for kind in ("reset", "veer")}
    tests = np.array(pull_columns[PULL_COLUMNS.index("spot_pulls")], dtype=np.int64)
    for places, _ in others.values():
        np.add.at(tests, places, 1)
    spots = NewSpots(visit_of, tests, earlier, others["reset"][0], others["veer"][0])
    effects = _effects(draws, inputs, touched, visits)
    return new_log_likelihood(effects, spots, pull_columns, others["reset"][1], others["veer"][1])


def _touched_spots(inputs: xr.Dataset) -> Places:
    """Return the places of spots with a new test, visit by visit."""
    of = {"pull": "spot_of", "reset": "reset_spot", "veer": "veer_spot"}
    places = [inputs[name].to_numpy()[inputs[f"{kind}_is_new"].to_numpy()] for kind, name in of.items()]
    touched = np.unique(np.concatenate(places)).astype(np.int64)
    return touched[np.argsort(inputs["spot_visit"].to_numpy()[touched], kind="stable")]


def _pulls_of(
    inputs: xr.Dataset, touched: Places, visit_of: Places
) -> tuple[tuple[NDArray[np.generic], ...], Places]:
    """Return the columns of all pulls of these spots, and how many of each are earlier ones."""
    spot_of, new = inputs["spot_of"].to_numpy(), inputs["pull_is_new"].to_numpy()
    # The log stands first, and so do the earlier pulls of each spot.
    members = [np.flatnonzero(spot_of == spot) for spot in touched]
    number = np.array([len(each) for each in members], dtype=np.int64)
    at = np.concatenate(members).astype(np.int64)
    own = {
        "spot_anchor": inputs["spot_anchor"].to_numpy()[touched],
        "spot_seabed": inputs["spot_seabed"].to_numpy()[touched],
        "spot_visit": visit_of,
        "spot_first": np.concatenate([[0], np.cumsum(number)])[:-1],
        "spot_pulls": number,
        "pull_order": np.arange(len(at)),
    }
    columns = tuple(
        _column(own[name] if name in own else inputs[name].to_numpy()[at]) for name in PULL_COLUMNS
    )
    earlier = np.array([int((~new[each]).sum()) for each in members], dtype=np.int64)
    return columns, earlier


def _others(
    inputs: xr.Dataset, kind: str, touched: Places, visits: Places
) -> tuple[Places, tuple[NDArray[np.generic], ...]]:
    """Return the spot of each new reset or veer, and their columns."""
    new = np.flatnonzero(inputs[f"{kind}_is_new"].to_numpy())
    order = np.argsort(touched, kind="stable")
    spot = order[np.searchsorted(touched[order], inputs[f"{kind}_spot"].to_numpy()[new])].astype(np.int64)
    own = {
        f"{kind}_spot": spot,
        f"{kind}_visit": np.searchsorted(visits, inputs[f"{kind}_visit"].to_numpy()[new]),
    }
    names = RESET_COLUMNS if kind == "reset" else VEER_COLUMNS
    return spot, tuple(_column(own[name] if name in own else inputs[name].to_numpy()[new]) for name in names)


def _column(values: NDArray[np.generic]) -> NDArray[np.generic]:
    kind = np.int64 if np.issubdtype(values.dtype, np.integer) else np.float64
    return np.array(values, dtype=kind)


def _effects(draws: Draws, inputs: xr.Dataset, touched: Places, visits: Places) -> Effects:
    def of(name: str) -> Floats:
        # Stored dims are (anchor, seabed) and the like already, chains one after the other.
        return np.ascontiguousarray(draws[name], dtype=float)

    capacity = of("log_capacity")
    soil_of = draws.inputs["soil_of"].to_numpy()
    weight = np.log(draws.anchors["mass_kg"].to_numpy(dtype=float) * GRAVITY)
    return Effects(
        capacity=capacity,
        odds=of("sets_log_odds"),
        odds_again=of("resets_log_odds") if "resets_log_odds" in draws else np.zeros_like(capacity),
        turn=of("turn") if "turn" in draws else np.zeros_like(capacity),
        scatter=of("pull_scatter"),
        rate=np.ascontiguousarray(of("rate_per_decade")[:, soil_of]),
        sliding=np.log(of("sliding_efficiency"))[:, None] + weight,
        fall=of("strength_of_fall"),
        concentration=of("set_concentration"),
        sliding_scatter=of("sliding_scatter"),
        visit_spread=of("visit_spread"),
        spot_spread=of("spot_spread"),
        visit=_known(draws, "visit", inputs["visit"].to_numpy()[visits]),
        spot=_known(draws, "spot", inputs["spot"].to_numpy()[touched]),
        shift=_instrument_errors(draws, inputs, touched),
    )


def _known(draws: Draws, dim: str, names: NDArray[np.str_]) -> Floats:
    """Return what visits or spots do, NaN where the fit does not know one, shape (sample, name)."""
    effect = draws[f"{dim}_effect"]
    places = {label: at for at, label in enumerate(draws.labels(dim))}
    values = np.full((draws.samples, len(names)), np.nan)
    for column, name in enumerate(map(str, names)):
        if name in places:
            values[:, column] = effect[:, places[name]]
    return values


def _instrument_errors(draws: Draws, inputs: xr.Dataset, touched: Places) -> Floats:
    """Return what the error of its instrument adds to each new spot [log N], shape (sample, spot)."""
    if "instrument_error" not in draws or not inputs.sizes.get("instrument", 0):
        return np.zeros((draws.samples, len(touched)))
    share = inputs["instrument_share"].sel(instrument=draws.labels("instrument")).to_numpy()[touched]
    return np.ascontiguousarray(draws["instrument_error"] @ share.T)

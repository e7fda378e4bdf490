"""How likely each draw of a fit makes tests that the fit has not seen."""

from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.draws import Draws, Floats
from holdcast.capacity.likelihood.pull_loop import PULL_COLUMNS
from holdcast.capacity.likelihood.reset_loop import RESET_COLUMNS
from holdcast.capacity.likelihood.veer_loop import VEER_COLUMNS
from holdcast.capacity.pointwise.new_tests import Effects, NewSpots, new_log_likelihood
from holdcast.physics.units import GRAVITY

__all__ = ["DRAWN", "NewTests", "values_of"]

Places = NDArray[np.int64]
DRAWN = (
    *("log_capacity", "sets_log_odds", "resets_log_odds", "turn", "pull_scatter", "rate_per_decade"),
    *("sliding_efficiency", "strength_of_fall", "set_concentration", "sliding_scatter", "visit_spread"),
    *("spot_spread", "visit_effect", "spot_effect", "instrument_error"),
)
"""Variables of the posterior that the likelihood of new tests depends on; some fits lack some."""


def values_of(draws: Draws, places: Places) -> dict[str, Floats]:
    """Return what some draws say of the variables of `DRAWN` that the fit has, shape (place, …)."""
    return {name: draws[name][places] for name in DRAWN if name in draws}


class NewTests:
    """New tests laid out once, to be weighed for many sets of draws.

    Parameters
    ----------
    draws : Draws
        Of the fit, for its labels.
    inputs : Dataset
        Of the log with the new tests, see :func:`holdcast.capacity.inputs.new_tests.lay_out_with`.

    Notes
    -----
    What a new visit and a new spot do is integrated; on a visit or spot that the fit knows it is the draw's.
    Of a spot that held a single pull so far the draws know nothing: there the likelihood is that of the
    earlier pull and the new tests together over that of the earlier pull, the spot integrated in both.
    """

    def __init__(self, draws: Draws, inputs: xr.Dataset) -> None:
        touched = _touched_spots(inputs)
        new = {test: inputs[f"{test}_is_new"].to_numpy() for test in ("pull", "reset", "veer")}
        is_lone = np.isin(inputs["spot"].to_numpy()[touched], _lone_spots(draws))
        self._all = _TestsOfSpots(draws, inputs, touched, new, is_lone)
        none = {test: np.zeros_like(is_new) for test, is_new in new.items()}
        lone = touched[is_lone]
        before = inputs.isel(trial=np.flatnonzero(~new["pull"]))
        none["pull"] = none["pull"][~new["pull"]]
        self._before = _TestsOfSpots(draws, before, lone, none, np.ones(len(lone), dtype=bool))

    def log_likelihood(self, values: Mapping[str, Floats]) -> Floats:
        """Return the log likelihood for each draw, up to a constant, shape (sample,).

        Parameters
        ----------
        values : mapping
            Name of `DRAWN` that the fit has, to its draws, shape (sample, …).
        """
        return self._all.log_likelihood(values) - self._before.log_likelihood(values)


class _TestsOfSpots:
    """Tests of some spots, laid out.

    Parameters
    ----------
    draws, inputs
        As for :class:`NewTests`.
    touched : array, shape (spot,)
        Positions of the spots in the inputs, visit by visit.
    new : mapping of test to array of bool
        Which pulls, resets and veers are new; all earlier pulls of the spots stand by, for setting goes
        together.
    is_lone : array of bool, shape (spot,)
        Where a spot's effect is integrated although it is known: its earlier pulls count like new ones.
    """

    def __init__(
        self,
        draws: Draws,
        inputs: xr.Dataset,
        touched: Places,
        new: Mapping[str, NDArray[np.bool_]],
        is_lone: NDArray[np.bool_],
    ) -> None:
        self._touched = touched
        if not len(touched):
            return
        self._visits, visit_of = np.unique(inputs["spot_visit"].to_numpy()[touched], return_inverse=True)
        self._pull_columns, earlier = _pulls_of(inputs, touched, visit_of, new["pull"])
        others = {kind: _others(inputs, kind, touched, self._visits, new[kind]) for kind in ("reset", "veer")}
        tests = np.array(self._pull_columns[PULL_COLUMNS.index("spot_pulls")], dtype=np.int64)
        for places, _ in others.values():
            np.add.at(tests, places, 1)
        earlier = np.where(is_lone, 0, earlier)
        self._spots = NewSpots(visit_of, tests, earlier, others["reset"][0], others["veer"][0])
        self._other_columns = others["reset"][1], others["veer"][1]
        shared = draws.labels("shared_spot") if "spot_effect" in draws else []
        self._known = {
            "visit": _known_places(draws.labels("visit"), inputs["visit"].to_numpy()[self._visits]),
            "spot": _known_places(shared, inputs["spot"].to_numpy()[touched]),
        }
        self._instrument_share = _instrument_share(draws, inputs, touched)
        self._soil_of = draws.inputs["soil_of"].to_numpy()
        self._log_weight = np.log(draws.anchors["mass_kg"].to_numpy(dtype=float) * GRAVITY)

    def log_likelihood(self, values: Mapping[str, Floats]) -> Floats:
        """Return the log likelihood for each draw, see :meth:`NewTests.log_likelihood`."""
        if not len(self._touched):
            return np.zeros(len(values["log_capacity"]))
        return new_log_likelihood(
            self._effects(values), self._spots, self._pull_columns, *self._other_columns
        )

    def _effects(self, values: Mapping[str, Floats]) -> Effects:
        def of(name: str) -> Floats:
            # Stored dims are (anchor, seabed) and the like already, chains one after the other.
            return np.ascontiguousarray(values[name], dtype=float)

        capacity = of("log_capacity")
        no_spot = np.zeros((len(capacity), 0))
        return Effects(
            capacity=capacity,
            odds=of("sets_log_odds"),
            odds_again=of("resets_log_odds") if "resets_log_odds" in values else np.zeros_like(capacity),
            turn=of("turn") if "turn" in values else np.zeros_like(capacity),
            scatter=of("pull_scatter"),
            rate=np.ascontiguousarray(of("rate_per_decade")[:, self._soil_of]),
            sliding=np.log(of("sliding_efficiency"))[:, None] + self._log_weight,
            fall=of("strength_of_fall"),
            concentration=of("set_concentration"),
            sliding_scatter=of("sliding_scatter"),
            visit_spread=of("visit_spread"),
            spot_spread=of("spot_spread"),
            visit=_where_known(of("visit_effect"), self._known["visit"]),
            spot=_where_known(values.get("spot_effect", no_spot), self._known["spot"]),
            shift=self._shift(values, len(capacity)),
        )

    def _shift(self, values: Mapping[str, Floats], samples: int) -> Floats:
        """Return what the error of its instrument adds to each new spot [log N], shape (sample, spot)."""
        if self._instrument_share is None:
            return np.zeros((samples, len(self._touched)))
        return np.ascontiguousarray(values["instrument_error"] @ self._instrument_share.T)


def _touched_spots(inputs: xr.Dataset) -> Places:
    """Return the places of spots with a new test, visit by visit."""
    of = {"pull": "spot_of", "reset": "reset_spot", "veer": "veer_spot"}
    places = [inputs[name].to_numpy()[inputs[f"{kind}_is_new"].to_numpy()] for kind, name in of.items()]
    touched = np.unique(np.concatenate(places)).astype(np.int64)
    return touched[np.argsort(inputs["spot_visit"].to_numpy()[touched], kind="stable")]


def _lone_spots(draws: Draws) -> NDArray[np.str_]:
    """Return the labels of the spots that hold a single pull of the fit's log."""
    inputs = draws.inputs
    return np.asarray(inputs["spot"].to_numpy()[inputs["spot_alone"].to_numpy() > 0])


def _pulls_of(
    inputs: xr.Dataset, touched: Places, visit_of: Places, new: NDArray[np.bool_]
) -> tuple[tuple[NDArray[np.generic], ...], Places]:
    """Return the columns of all pulls of these spots, and how many of each are earlier ones."""
    spot_of = inputs["spot_of"].to_numpy()
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
    inputs: xr.Dataset, kind: str, touched: Places, visits: Places, is_new: NDArray[np.bool_]
) -> tuple[Places, tuple[NDArray[np.generic], ...]]:
    """Return the spot of each new reset or veer, and their columns."""
    new = np.flatnonzero(is_new)
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


def _known_places(known: Sequence[str], names: NDArray[np.str_]) -> Places:
    """Return where visits or spots stand among those that the draws know, -1 where not, shape (name,)."""
    places = {label: at for at, label in enumerate(known)}
    return np.array([places.get(str(name), -1) for name in names], dtype=np.int64)


def _where_known(effect: Floats, places: Places) -> Floats:
    """Return what visits or spots do, NaN where the fit does not know one, shape (sample, name)."""
    values = np.full((len(effect), len(places)), np.nan)
    is_known = places >= 0
    values[:, is_known] = effect[:, places[is_known]]
    return values


def _instrument_share(draws: Draws, inputs: xr.Dataset, touched: Places) -> Floats | None:
    """Return how much of each instrument's error each new spot has; None where there is none."""
    if "instrument_error" not in draws or not inputs.sizes.get("instrument", 0):
        return None
    share = inputs["instrument_share"].sel(instrument=draws.labels("instrument"))
    return np.asarray(share.to_numpy()[touched], dtype=float)

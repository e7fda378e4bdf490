"""Pulls of a log as each draw sees them: where their loads lie, and how likely what was read is."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.likelihood.corrections import corrected_ends
from holdcast.capacity.likelihood.interval_values import log_inside
from holdcast.capacity.likelihood.kinds import EXACT, UNREAD
from holdcast.capacity.pointwise.known_spots import known_spots
from holdcast.capacity.pointwise.setting import (
    SettingDraws,
    chances_of_word,
    sliding_log_likelihood,
    weigh_draws,
)

__all__ = ["PullsAsDrawn", "with_reading_order"]

Numbers = NDArray[np.float64]
_ORDER = ("chain", "draw", "trial")


class PullsAsDrawn:
    """Pulls as draws see them; arrays of shape (chain, draw, trial) but for `kind`.

    Parameters
    ----------
    draws : Dataset
        Posterior draws, dims (chain, draw, …).
    inputs : Dataset
        What the model was told; some of its pulls will do (:func:`with_reading_order`).

    Attributes
    ----------
    location, scale : median and scale of the log load of a pull that set, at reference conditions [log N].
    spot, spot_spread : what of the location is owed to the spot, and the spread of what the spot does beside
        [log N], 0 but for a pull that is alone on its spot.
    sliding, sliding_scatter : middle and scatter of the log load at which it slides if not [log N].
    low, high : ends of each reading at reference conditions [log N].
    kind : array, shape (trial,), see :mod:`holdcast.capacity.likelihood.kinds`.
    """

    def __init__(self, draws: xr.Dataset, inputs: xr.Dataset) -> None:
        self._draws, self._inputs = draws, with_reading_order(inputs)
        self._alone = _is_alone(inputs)
        self.spot, self.spot_spread = _spots(draws, inputs, self._alone)
        place, self.scale = _moments(draws, inputs)
        self.location = place + self.spot
        self.sliding, self.sliding_scatter = _sliding(draws, inputs)
        self.low, self.high, self._jacobian = _ends(draws, inputs)
        self.kind = inputs["kind"].to_numpy()

    def expected_to_set(self) -> Numbers:
        """Return the chance that each pull's anchor sets, its own reading aside, shape (sample, trial)."""
        # A pull that is alone has no reading of others, so its own likelihood need not be worked out.
        return self.weighed(self.log_set(of_lone=False)).expected

    def log_set(self, shift: float | Numbers = 0.0, *, of_lone: bool = True) -> Numbers:
        """Return the log likelihood of each reading if its anchor set and capacity were shifted [log N].

        Without `of_lone`, pulls that are alone on their spots are taken as not read.
        """
        location = self.location + shift
        below, above = (self.low - location) / self.scale, (self.high - location) / self.scale
        alone, inside = self._alone, np.empty(below.shape)
        inside[..., ~alone] = log_inside(below[..., ~alone], above[..., ~alone], self.kind[~alone])
        inside[..., alone] = 0.0
        if of_lone and alone.any():
            inside[..., alone] = self._over_spots(below[..., alone], above[..., alone])
        return np.asarray(inside - (self.kind == EXACT) * np.log(self.scale) + self._jacobian)

    def _over_spots(self, below: Numbers, above: Numbers) -> Numbers:
        """Return the log likelihood, in scales, of the pulls that are alone on their spots."""
        # Imported here: the compiler takes half a second, and few answers have such a pull to weigh.
        from holdcast.capacity.pointwise.lone_pulls import log_inside_over_spots

        ratio = self.spot_spread[..., self._alone] / self.scale[..., self._alone]
        flat = (below.shape[0] * below.shape[1], below.shape[2])
        low, high, ratio = (each.reshape(flat) for each in (below, above, ratio))
        return log_inside_over_spots(low, high, self.kind[self._alone], ratio).reshape(below.shape)

    def weighed(self, log_set: Numbers) -> SettingDraws:
        """Return what draws say of each pull, whether its anchor set being weighed; shape (sample, trial)."""
        inputs, pulls = self._inputs, len(self.kind)
        word_if_set, word_if_slid = np.log(chances_of_word(inputs["setting"].to_numpy(), self.kind))
        if_set = np.where(self.kind == UNREAD, -np.inf, log_set + word_if_set).reshape(-1, pulls)
        middle, scatter = (each.reshape(-1, pulls) for each in (self.sliding, self.sliding_scatter))
        if_slid = word_if_slid + sliding_log_likelihood(middle, scatter, inputs)
        cell = {"anchor": inputs["spot_anchor"], "seabed": inputs["spot_seabed"]}
        odds = self._draws["sets_log_odds"].isel(cell).transpose("chain", "draw", "spot").to_numpy()
        concentration = self._draws["set_concentration"].transpose("chain", "draw").to_numpy().ravel()
        return weigh_draws(if_set, if_slid, odds.reshape(len(if_set), -1), concentration, inputs)


def with_reading_order(inputs: xr.Dataset) -> xr.Dataset:
    """Return the inputs of some pulls with the order by spots told anew, after pulls were left out."""
    spot_of = inputs["spot_of"].to_numpy()
    number = np.bincount(spot_of, minlength=inputs.sizes["spot"])
    return inputs.assign(
        pull_order=("trial", np.argsort(spot_of, kind="stable")),
        spot_pulls=("spot", number),
        spot_first=("spot", np.concatenate([[0], np.cumsum(number)])[:-1]),
    )


def _is_alone(inputs: xr.Dataset) -> NDArray[np.bool_]:
    """Return which pulls are alone on their spots, shape (trial,)."""
    return np.asarray(inputs["spot_alone"].to_numpy()[inputs["spot_of"].to_numpy()] > 0)


def _spots(draws: xr.Dataset, inputs: xr.Dataset, is_alone: NDArray[np.bool_]) -> tuple[Numbers, Numbers]:
    """Return what is known of each pull's spot and the spread of what is not, shape (chain, draw, trial)."""
    known = known_spots(draws, inputs, inputs["spot_of"].to_numpy()).rename(test="trial")
    spread = draws["spot_spread"] * xr.DataArray(is_alone, dims="trial")
    return known.transpose(*_ORDER).to_numpy(), spread.transpose(*_ORDER).to_numpy()


def _moments(draws: xr.Dataset, inputs: xr.Dataset) -> tuple[Numbers, Numbers]:
    """Return median and scale of each pull's log load on a spot that does nothing, (chain, draw, trial)."""
    cell = {"anchor": inputs["anchor_of"], "seabed": inputs["seabed_of"]}
    location = draws["log_capacity"].isel(cell) + draws["visit_effect"].isel(visit=inputs["visit_of"])
    scale = draws["pull_scatter"].isel(seabed=inputs["seabed_of"])
    return location.transpose(*_ORDER).to_numpy(), scale.transpose(*_ORDER).to_numpy()


def _ends(draws: xr.Dataset, inputs: xr.Dataset) -> tuple[Numbers, Numbers, Numbers]:
    """Return each pull's ends at reference conditions and its Jacobian, by the model's own corrections."""
    rate = draws["rate_per_decade"].isel(soil=inputs["soil_of"].isel(seabed=inputs["seabed_of"]))
    fall = draws["strength_of_fall"].expand_dims(trial=inputs["trial"])
    data = {str(name): array.to_numpy() for name, array in inputs.data_vars.items()}
    return corrected_ends(data, *(each.transpose(*_ORDER).to_numpy() for each in (fall, rate)))


def _sliding(draws: xr.Dataset, inputs: xr.Dataset) -> tuple[Numbers, Numbers]:
    """Return middle and scatter of the log load at which each pull slides, shape (chain, draw, trial)."""
    weight = inputs["log_weight"].isel(anchor=inputs["anchor_of"])
    middle = (weight + np.log(draws["sliding_efficiency"])).transpose(*_ORDER)
    scatter = draws["sliding_scatter"].expand_dims(trial=inputs["trial"]).transpose(*_ORDER)
    return middle.to_numpy(), scatter.to_numpy()

"""The likelihood of each pull, evaluated on draws; the model itself has only the sum (tests compare them)."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import ndtr, stdtr

from holdcast.capacity.likelihood.corrections import corrected_ends
from holdcast.capacity.likelihood.interval_values import log_inside
from holdcast.capacity.likelihood.kinds import DEGREES_OF_FREEDOM, EXACT, UNREAD
from holdcast.capacity.pointwise.setting import (
    SettingDraws,
    chances_of_word,
    sliding_log_likelihood,
    weigh_draws,
)

__all__ = ["PullDraws", "pull_draws", "shifted_log_likelihoods", "with_reading_order"]

Numbers = NDArray[np.float64]
_ORDER = ("chain", "draw", "trial")


@dataclass(frozen=True)
class PullDraws:
    """What draws say of each pull; arrays of shape (chain, draw, trial).

    Attributes
    ----------
    log_likelihood : log density of an exact row, log probability of another, given the others on its spot.
    location, scale : median and scale of the log load of a pull that set, at reference conditions [log N].
    expected, had_set : chance that it sets, without and with its own reading.
    sliding, sliding_scatter : middle and scatter of the log load at which it slides if not [log N].
    """

    log_likelihood: Numbers
    location: Numbers
    scale: Numbers
    expected: Numbers
    had_set: Numbers
    sliding: Numbers
    sliding_scatter: Numbers

    def below(self, log_load: Numbers, as_read: Numbers) -> Numbers:
        """Return the probability of a log load below these [log N], shape (chain, draw, trial).

        Parameters
        ----------
        log_load : array, shape (chain, draw, trial)
            At reference conditions, as of a pull that set.
        as_read : array, shape (trial,)
            As it was read, which is what an anchor slides at.
        """
        set_below = stdtr(DEGREES_OF_FREEDOM, (log_load - self.location) / self.scale)
        slid_below = ndtr((as_read - self.sliding) / self.sliding_scatter)
        return np.asarray(self.expected * set_below + (1.0 - self.expected) * slid_below)

    def replicate(self, random: np.random.Generator) -> Numbers:
        """Return one log load of each pull as if it were made again, shape (chain, draw, trial)."""
        held = self.location + self.scale * random.standard_t(DEGREES_OF_FREEDOM, self.location.shape)
        slid = self.sliding + self.sliding_scatter * random.standard_normal(self.location.shape)
        return np.where(random.random(self.location.shape) < self.expected, held, slid)


def pull_draws(draws: xr.Dataset, inputs: xr.Dataset) -> PullDraws:
    """Return what the draws say of each pull.

    Parameters
    ----------
    draws : Dataset
        Posterior draws, dims (chain, draw, …).
    inputs : Dataset
        What the model was told; some of its pulls will do (:func:`with_reading_order`).
    """
    location, scale = _moments(draws, inputs)
    sliding, scatter = _sliding(draws, inputs)
    said = _weighed(draws, inputs, _log_likelihood(draws, inputs)(location, scale), sliding, scatter)
    parts = (said.given_others, location, scale, said.expected, said.had_set, sliding, scatter)
    return PullDraws(*(np.reshape(part, location.shape) for part in parts))


def with_reading_order(inputs: xr.Dataset) -> xr.Dataset:
    """Return the inputs of some pulls with the order by spots told anew, after pulls were left out."""
    spot_of = inputs["spot_of"].to_numpy()
    number = np.bincount(spot_of, minlength=inputs.sizes["spot"])
    return inputs.assign(
        pull_order=("trial", np.argsort(spot_of, kind="stable")),
        spot_pulls=("spot", number),
        spot_first=("spot", np.concatenate([[0], np.cumsum(number)])[:-1]),
    )


def shifted_log_likelihoods(
    draws: xr.Dataset, inputs: xr.Dataset, shifts: Iterable[float | Numbers]
) -> Iterator[Numbers]:
    """Yield the log likelihood of each pull for each draw, were the capacities other ones.

    Parameters
    ----------
    draws, inputs : Dataset
        As for :func:`pull_draws`.
    shifts : iterable of number or array, shape (chain, draw, trial)
        Each is added to every median [log N].

    Yields
    ------
    array, shape (chain, draw, trial)
        Log likelihood of a pull given those before it on its spot, so that those of a cell add up.
    """
    location, scale = _moments(draws, inputs)
    sliding, scatter = _sliding(draws, inputs)
    evaluate = _log_likelihood(draws, inputs)
    for shift in shifts:
        said = _weighed(draws, inputs, evaluate(location + shift, scale), sliding, scatter)
        yield said.in_turn.reshape(location.shape)


def _weighed(
    draws: xr.Dataset, inputs: xr.Dataset, log_set: Numbers, sliding: Numbers, scatter: Numbers
) -> SettingDraws:
    """Return what draws say of each pull, whether its anchor set being weighed; shape (sample, trial)."""
    inputs = with_reading_order(inputs)
    pulls = log_set.shape[-1]
    kind, setting = inputs["kind"].to_numpy(), inputs["setting"].to_numpy()
    word_if_set, word_if_slid = np.log(chances_of_word(setting, kind))
    if_set = np.where(kind == UNREAD, -np.inf, log_set + word_if_set).reshape(-1, pulls)
    if_slid = word_if_slid + sliding_log_likelihood(
        sliding.reshape(-1, pulls), scatter.reshape(-1, pulls), inputs
    )
    cell = {"anchor": inputs["spot_anchor"], "seabed": inputs["spot_seabed"]}
    odds = draws["sets_log_odds"].isel(cell).transpose("chain", "draw", "spot").to_numpy()
    concentration = draws["set_concentration"].transpose("chain", "draw").to_numpy().ravel()
    return weigh_draws(if_set, if_slid, odds.reshape(len(if_set), -1), concentration, inputs)


def _sliding(draws: xr.Dataset, inputs: xr.Dataset) -> tuple[Numbers, Numbers]:
    """Return middle and scatter of the log load at which each pull slides, shape (chain, draw, trial)."""
    weight = inputs["log_weight"].isel(anchor=inputs["anchor_of"])
    middle = (weight + np.log(draws["sliding_efficiency"])).transpose(*_ORDER)
    scatter = draws["sliding_scatter"].expand_dims(trial=inputs["trial"]).transpose(*_ORDER)
    return middle.to_numpy(), scatter.to_numpy()


def _log_likelihood(draws: xr.Dataset, inputs: xr.Dataset) -> Callable[[Numbers, Numbers], Numbers]:
    """Return the log likelihood of each pull that set, as a function of its median and scale."""
    low, high, jacobian = _ends(draws, inputs)
    kind = inputs["kind"].to_numpy()

    def rows(location: Numbers, scale: Numbers) -> Numbers:
        inside = log_inside((low - location) / scale, (high - location) / scale, kind)
        return np.asarray(inside - (kind == EXACT) * np.log(scale) + jacobian)

    return rows


def _moments(draws: xr.Dataset, inputs: xr.Dataset) -> tuple[Numbers, Numbers]:
    """Return median and scale of each pull's log load if it set, shape (chain, draw, trial)."""
    cell = {"anchor": inputs["anchor_of"], "seabed": inputs["seabed_of"]}
    location = (
        draws["log_capacity"].isel(cell)
        + draws["visit_effect"].isel(visit=inputs["visit_of"])
        + draws["spot_effect"].isel(spot=inputs["spot_of"])
    )
    scale = draws["pull_scatter"].isel(seabed=inputs["seabed_of"])
    return location.transpose(*_ORDER).to_numpy(), scale.transpose(*_ORDER).to_numpy()


def _ends(draws: xr.Dataset, inputs: xr.Dataset) -> tuple[Numbers, Numbers, Numbers]:
    """Return each pull's ends at reference conditions and its Jacobian, by the model's own corrections."""
    rate = draws["rate_per_decade"].isel(soil=inputs["soil_of"].isel(seabed=inputs["seabed_of"]))
    fall = draws["strength_of_fall"].expand_dims(trial=inputs["trial"])
    data = {str(name): array.to_numpy() for name, array in inputs.data_vars.items()}
    return corrected_ends(data, *(each.transpose(*_ORDER).to_numpy() for each in (fall, rate)))

"""What draws say of each reset and each veer; the model itself has only their sums (tests compare them)."""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import betaln, expit, stdtr

from holdcast.capacity.likelihood.corrections import corrected_ends
from holdcast.capacity.likelihood.interval_values import log_inside
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, DEGREES_OF_FREEDOM, EXACT
from holdcast.capacity.pointwise.known_spots import known_spots

__all__ = ["ResetDraws", "VeerDraws", "reset_draws", "veer_draws"]

Numbers = NDArray[np.float64]
Counts = NDArray[np.int64]
_VEER_COLUMNS = ("fall_lower", "fall_upper", "fall_slope", "speed", "kind")


@dataclass(frozen=True)
class ResetDraws:
    """What draws say of each reset.

    Attributes
    ----------
    chance : array, shape (sample, reset)
        That one attempt succeeds: the anchor digs in again and then holds the load it was judged by.
    concentration : array, shape (sample,)
        Of the beta-binomial.
    attempts, successes : arrays, shape (reset,)
    log_likelihood : array, shape (sample, reset)
        Log probability of the count.
    """

    chance: Numbers
    concentration: Numbers
    attempts: Counts
    successes: Counts
    log_likelihood: Numbers

    def below(self, count: Counts) -> Numbers:
        """Return the probability of fewer successes than these, shape (sample, reset)."""
        total = np.zeros_like(self.chance)
        for number in range(int(count.max(initial=0))):
            within = number < count
            total += within * np.exp(self._log_probability(np.minimum(number, self.attempts)))
        return np.clip(total, 0.0, 1.0)

    def _log_probability(self, count: Counts) -> Numbers:
        return _beta_binomial(self.chance, self.concentration, self.attempts, count)


@dataclass(frozen=True)
class VeerDraws:
    """What draws say of each veer; arrays of shape (sample, veer), loads as of a straight pull [log N].

    Attributes
    ----------
    log_likelihood : log density of an exact load, log probability of another.
    location, scale : median and scale of the load at which a straight pull breaks out.
    low, high : ends of the reading, turned back to a straight pull; infinite where open.
    """

    log_likelihood: Numbers
    location: Numbers
    scale: Numbers
    low: Numbers
    high: Numbers

    def below(self, log_load: Numbers) -> Numbers:
        """Return the probability of a log load below these [log N], shape (sample, veer)."""
        return np.asarray(stdtr(DEGREES_OF_FREEDOM, (log_load - self.location) / self.scale))


def reset_draws(draws: xr.Dataset, inputs: xr.Dataset) -> ResetDraws:
    """Return what the draws say of each reset.

    Parameters
    ----------
    draws : Dataset
        Posterior draws, dims (chain, draw, …), with ``resets_log_odds`` where there is a reset.
    inputs : Dataset
        What the model was told, or some resets of it; see
        :data:`holdcast.capacity.likelihood.reset_loop.RESET_COLUMNS`.
    """
    concentration = _flat(draws["set_concentration"])
    if not inputs.sizes["reset"]:
        none, no_count = np.zeros((len(concentration), 0)), np.zeros(0, dtype=np.int64)
        return ResetDraws(none, concentration, no_count, no_count, none)
    attempts, successes = (inputs[name].to_numpy().astype(np.int64) for name in ("attempts", "successes"))
    at = {dim: inputs[f"reset_{dim}"] for dim in ("anchor", "seabed")}
    share = inputs["reversal"].to_numpy()
    odds, again = (_flat(draws[name].isel(at)) for name in ("sets_log_odds", "resets_log_odds"))
    location, scale = _moments(draws, inputs, "reset")
    fall = _flat(draws["strength_of_fall"])[:, None]
    held = inputs["reset_held"].to_numpy() + fall * inputs["reset_fall"].to_numpy()
    holds = stdtr(DEGREES_OF_FREEDOM, (location - held) / scale)
    chance = expit((1.0 - share) * odds + share * again) * np.where(inputs["reset_judged"] > 0, holds, 1.0)
    likelihood = _beta_binomial(chance, concentration, attempts, successes)
    return ResetDraws(chance, concentration, attempts, successes, likelihood)


def veer_draws(draws: xr.Dataset, inputs: xr.Dataset) -> VeerDraws:
    """Return what the draws say of each veer.

    Parameters
    ----------
    draws : Dataset
        Posterior draws, dims (chain, draw, …), with ``turn`` where there is a veer.
    inputs : Dataset
        What the model was told, or some veers of it; see
        :data:`holdcast.capacity.likelihood.veer_loop.VEER_COLUMNS`.
    """
    if not inputs.sizes["veer"]:
        none = np.zeros((draws.sizes["chain"] * draws.sizes["draw"], 0))
        return VeerDraws(none, none, none, none, none)
    location, scale = _moments(draws, inputs, "veer")
    lost = _flat(draws["turn"].isel({dim: inputs[f"veer_{dim}"] for dim in ("anchor", "seabed")}))
    rate = _flat(draws["rate_per_decade"].isel(soil=inputs["soil_of"].isel(seabed=inputs["veer_seabed"])))
    fall = _flat(draws["strength_of_fall"])[:, None]
    data = {name: inputs[f"veer_{name}"].to_numpy()[None] for name in _VEER_COLUMNS}
    for end in ("lower", "upper"):
        data[end] = inputs[f"veer_{end}"].to_numpy() + lost * inputs[f"turn_{end}"].to_numpy()
    low, high, jacobian = corrected_ends(data, fall, rate)
    kind = data["kind"][0]
    likelihood = log_inside((low - location) / scale, (high - location) / scale, kind)
    likelihood += np.where(kind == EXACT, jacobian - np.log(scale), 0.0)
    low, high = np.where(kind == BELOW, -np.inf, low), np.where(kind == ABOVE, np.inf, high)
    return VeerDraws(likelihood, location, scale, low, high)


def _flat(array: xr.DataArray) -> Numbers:
    """Return draws with chains one after the other, shape (sample, …)."""
    values = array.transpose("chain", "draw", ...).to_numpy()
    return np.asarray(values.reshape(-1, *values.shape[2:]), dtype=float)


def _moments(draws: xr.Dataset, inputs: xr.Dataset, kind: str) -> tuple[Numbers, Numbers]:
    """Return median and scale of the log load of an anchor that set, at each test of a kind."""
    place = {dim: inputs[f"{kind}_{dim}"] for dim in ("anchor", "seabed", "visit", "spot")}
    location = (
        _flat(draws["log_capacity"].isel({dim: place[dim] for dim in ("anchor", "seabed")}))
        + _flat(draws["visit_effect"].isel(visit=place["visit"]))
        + _flat(known_spots(draws, inputs, place["spot"].to_numpy()))
    )
    return location, _flat(draws["pull_scatter"].isel(seabed=place["seabed"]))


def _beta_binomial(chance: Numbers, concentration: Numbers, attempts: Counts, count: Counts) -> Numbers:
    """Return the log probability of a number of successes; minus infinity beyond the attempts."""
    sets = np.maximum(chance, 1e-12) * concentration[:, None]
    fails = np.maximum(1.0 - chance, 1e-12) * concentration[:, None]
    ways = -np.log1p(attempts) - betaln(attempts - count + 1.0, count + 1.0)
    return np.asarray(ways + betaln(count + sets, attempts - count + fails) - betaln(sets, fails))

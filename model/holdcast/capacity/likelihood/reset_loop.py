"""The likelihood of all resets and its slopes: how often an anchor dug in again after its pull was reversed.

An attempt counts as a success when the anchor digs in again **and** then holds the load it was judged by, so
that a reset speaks of capacity too: the chance of one success is

    q = p · P(load > held)

with p the chance of digging in after such a reversal.  Successes of one row share a spot, and an anchor that
failed once fails again more often: a beta-binomial of mean q, its concentration that of pulls
(:mod:`.setting_rows`).
"""

import math
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.interval_rows import Distribution
from holdcast.capacity.likelihood.pull_loop import Loop
from holdcast.capacity.symbols import Compiled

__all__ = ["RESET_COLUMNS", "RESET_EFFECTS", "chance_again", "log_counts", "reset_loop"]

Numbers = NDArray[np.float64]

RESET_EFFECTS = ("capacity", "visit", "spot", "scatter", "fall", "odds", "odds_again", "concentration")
"""What moves the likelihood, in order: as for pulls; ``odds_again`` (anchor, seabed), log odds of digging in
again after a reversal of 180 degrees; that of a smaller one lies in between, in proportion."""

RESET_COLUMNS = (
    *("reset_spot", "reset_anchor", "reset_seabed", "reset_visit", "attempts", "successes"),
    *("reset_judged", "reset_held", "reset_fall", "reversal"),
)
"""Data of each reset, dim reset: positions; counts; 1 where a load was to be held, its log [log N], and the
shape of its fall with the angle; the reversal as a share of 180 degrees."""


_EFFECTS = len(RESET_EFFECTS)


def reset_loop(distribution: Distribution) -> Loop:
    """Return the compiled function that gives the log likelihood of all resets and its slopes.

    Parameters
    ----------
    distribution : Distribution
        Of the scatter of loads.

    Returns
    -------
    callable
        Takes `RESET_EFFECTS` and `RESET_COLUMNS`.  Gives the log likelihood less its constant (no dims) and
        its slopes by the effects.
    """
    add_resets = _add_resets(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def all_resets(*inputs: NDArray[Any]) -> tuple[Any, ...]:
        effects, columns = inputs[:_EFFECTS], inputs[_EFFECTS:]
        capacity, visit, spot, scatter, fall, odds, odds_again, concentration = effects
        _check_lengths(columns)
        slopes = (
            *(np.zeros_like(capacity), np.zeros_like(visit), np.zeros_like(spot), np.zeros_like(scatter)),
            *(np.zeros(fall.shape), np.zeros_like(odds), np.zeros_like(odds_again)),
            np.zeros(concentration.shape),
        )
        return (np.asarray(add_resets(effects, columns, slopes)), *slopes)

    compiled: Loop = all_resets
    return compiled


def _add_resets(distribution: Distribution) -> Compiled:
    """Return the compiled function of all resets: their log likelihood, slopes added to those at hand."""
    density, probability = distribution.density, distribution.probability

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def add_resets(effects: Any, columns: Any, slopes: Any) -> float:  # noqa: ANN401
        capacity, visit, spot, scatter, fall, odds, odds_again, concentration = effects
        at_spot, at_anchor, at_seabed, at_visit, attempts, successes = columns[:6]
        judged, held, fall_held, reversal = columns[6:]
        by_capacity, by_visit, by_spot, by_scatter, by_fall, by_odds, by_again, by_concentration = slopes
        total = 0.0
        for i in range(attempts.size):
            anchor, seabed, share = at_anchor[i], at_seabed[i], reversal[i]
            location = capacity[anchor, seabed] + visit[at_visit[i]] + spot[at_spot[i]]
            digs_in = chance_again(odds[anchor, seabed], odds_again[anchor, seabed], share)
            holding, slope, slope_by_scale = 1.0, 0.0, 0.0
            if judged[i] > 0:
                z = (held[i] + fall[()] * fall_held[i] - location) / scatter[seabed]
                slope = density(z) / scatter[seabed]
                holding, slope_by_scale = probability(-np.inf, -z), slope * z
            likelihood, by_chance, slope_by_concentration = log_counts(
                attempts[i], successes[i], digs_in * holding, concentration[()]
            )
            total += likelihood
            moved = by_chance * digs_in * slope
            turned = by_chance * holding * digs_in * (1.0 - digs_in)
            by_capacity[anchor, seabed] += moved
            by_visit[at_visit[i]] += moved
            by_spot[at_spot[i]] += moved
            by_scatter[seabed] += by_chance * digs_in * slope_by_scale
            by_fall[()] -= moved * fall_held[i]
            by_odds[anchor, seabed] += (1.0 - share) * turned
            by_again[anchor, seabed] += share * turned
            by_concentration[()] += slope_by_concentration
        return total

    return add_resets


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def chance_again(odds: float, odds_again: float, share: float) -> float:
    """Return the chance of digging in again after a reversal that is this share of 180 degrees."""
    return 1.0 / (1.0 + math.exp(-((1.0 - share) * odds + share * odds_again)))


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _check_lengths(columns: tuple[NDArray[Any], ...]) -> None:
    at_spot, at_anchor, at_seabed, at_visit, attempts, successes = columns[:6]
    judged, held, fall_held, reversal = columns[6:]
    resets = attempts.size
    if not at_spot.size == at_anchor.size == at_seabed.size == at_visit.size == resets == successes.size:
        raise ValueError("all columns must have one entry for every reset")
    if not judged.size == held.size == fall_held.size == reversal.size == resets:
        raise ValueError("all columns must have one entry for every reset")


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def log_counts(
    attempts: int, successes: int, chance: float, concentration: float
) -> tuple[float, float, float]:
    """Return the log of the beta-binomial less its constant, and its slopes by chance and concentration."""
    against = 1.0 - chance
    total, by_chance, by_concentration = 0.0, 0.0, 0.0
    for j in range(successes):
        term = chance * concentration + j
        total += math.log(term)
        by_chance += concentration / term
        by_concentration += chance / term
    for j in range(attempts - successes):
        term = against * concentration + j
        total += math.log(term)
        by_chance -= concentration / term
        by_concentration += against / term
    for j in range(attempts):
        term = concentration + j
        total -= math.log(term)
        by_concentration -= 1.0 / term
    return total, by_chance, by_concentration

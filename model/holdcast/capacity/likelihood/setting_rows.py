"""The pulls of one anchor on one visit: each set or did not, and those that failed once fail more often.

A pull that set breaks out at a load about the anchor's capacity; one that did not slides at a load about the
anchor's own weight.  Whether it set is seldom written down, so both are weighed.  The chance of setting
differs from visit to visit (a fluke packed with clay fails again and again): a beta distribution with the
cell's chance as its mean, integrated in closed form by Pólya's urn.  Of pull i, when r of those before it
have set, the chance of setting is

    (p c + r) / (c + i)

with p the cell's chance and c the concentration (Johnson & Kotz 1977, *Urn Models and Their Application*,
value from memory): the beta-binomial, one pull at a time, in any order.

Where the log says whether the anchor set, that word is the wrong one with a chance of
:data:`.kinds.LABEL_ERROR`, and so it is weighed against what the load says.

What takes arrays here holds no counts of who has them (see :mod:`.pull_loop`).
"""

import math
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.kinds import DID_NOT_SET, LABEL_ERROR, NOT_SAID, SET, UNREAD

__all__ = [
    "DID_NOT_SET",
    "NOT_SAID",
    "SET",
    "UNREAD",
    "log_chance_all_set",
    "log_chances_of_word",
    "next_shares",
    "room_for",
    "sliding_row",
    "weigh_one",
    "weigh_setting",
]

Numbers = NDArray[np.float64]

_EXACT, _BELOW, _ABOVE = 0, 1, 2
_HALF_LOG_2_PI = 0.5 * math.log(2.0 * math.pi)
_LOG_RIGHT, _LOG_WRONG = math.log1p(-LABEL_ERROR), math.log(LABEL_ERROR)
_FAR = 8.0
"""Standard deviations beyond which a tail is taken from its series; the error there is below 1e-5 of it."""


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _log_tail(z: float) -> tuple[float, float]:
    """Return the log of the standard normal's probability below z, and its slope."""
    if z > -_FAR:
        inside = 0.5 * math.erfc(-z / math.sqrt(2.0))
        return math.log(inside), math.exp(-0.5 * z * z - _HALF_LOG_2_PI) / inside
    # Mills' ratio as a series: 1/|z| (1 - 1/z² + 3/z⁴ - 15/z⁶) (Abramowitz & Stegun 1964, 26.2.12, memory).
    square = z * z
    series = 1.0 - 1.0 / square + 3.0 / square**2 - 15.0 / square**3
    return -0.5 * square - _HALF_LOG_2_PI - math.log(-z) + math.log(series), -z / series


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def log_chances_of_word(setting: int, kind: int) -> tuple[float, float]:
    """Return the log chances that the log says what it does, if the anchor set and if it did not.

    A pull that was stopped while it held needs no word.
    """
    if setting == NOT_SAID or (setting == SET and kind == _ABOVE):
        return 0.0, 0.0
    return (_LOG_RIGHT, _LOG_WRONG) if setting == SET else (_LOG_WRONG, _LOG_RIGHT)


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def sliding_row(kind: int, low: float, high: float) -> tuple[float, float, float]:
    """Return the log probability of a reading under a standard normal, and its slopes by both ends.

    Parameters
    ----------
    kind : of the load, see :mod:`holdcast.capacity.likelihood.interval_rows`, or `UNREAD`.
    low, high : ends of the log load in standard deviations from the middle.
    """
    if kind == UNREAD:
        return 0.0, 0.0, 0.0
    if kind == _EXACT:
        return -0.5 * high * high - _HALF_LOG_2_PI, 0.0, -high
    if kind == _BELOW:
        value, slope = _log_tail(high)
        return value, 0.0, slope
    if kind == _ABOVE:
        value, slope = _log_tail(-low)
        return value, -slope, 0.0
    # Mirrored so that both ends lie where the tails are small: no cancellation.
    mirrored = low + high > 0.0
    far, near = (-high, -low) if mirrored else (low, high)
    log_near, slope_near = _log_tail(near)
    log_far, slope_far = _log_tail(far)
    ratio = math.exp(log_far - log_near)
    share = -math.expm1(log_far - log_near)
    by_near, by_far = slope_near / share, -slope_far * ratio / share
    value = log_near + math.log(share)
    return (value, -by_near, -by_far) if mirrored else (value, by_far, by_near)


@numba.njit(error_model="numpy", _nrt=False)  # type: ignore[untyped-decorator]
def weigh_setting(
    log_set: Numbers, log_slid: Numbers, odds: float, concentration: float, lattice: Numbers, ahead: Numbers
) -> tuple[float, float, float]:
    """Return the log likelihood of the pulls of one anchor on one visit, some of which may not have set.

    Parameters
    ----------
    log_set, log_slid : arrays, shape (pull,)
        Log likelihood of each reading if the anchor set and if it did not; minus infinity where that cannot
        be.  On return `log_set` holds the chance that each pull had set, given all of them: its slope by the
        log likelihood of the first branch; one less it is the slope by the other's.
    odds : float
        Log odds of setting.
    concentration : float
        c above 0.
    lattice, ahead : arrays, shape (at least pull + 1, at least pull + 2)
        Room to work in.

    Returns
    -------
    tuple of float
        Log likelihood; slopes by the odds and by the concentration.
    """
    pulls = log_set.size
    chance, against = 1.0 / (1.0 + math.exp(-odds)), 1.0 / (1.0 + math.exp(odds))
    total = _forward(log_set, log_slid, chance, against, concentration, lattice)
    by_chance, by_concentration = 0.0, 0.0
    ahead[pulls, : pulls + 1] = 1.0
    for i in range(pulls - 1, -1, -1):
        largest = max(log_set[i], log_slid[i])
        sets, slides = math.exp(log_set[i] - largest), math.exp(log_slid[i] - largest)
        so_far, had_set = concentration + i, 0.0
        norm = lattice[i + 1, pulls + 1]
        for r in range(i + 1):
            up = (chance * concentration + r) / so_far
            stay = (against * concentration + i - r) / so_far
            to_set, to_slid = sets * ahead[i + 1, r + 1] / norm, slides * ahead[i + 1, r] / norm
            here = lattice[i, r]
            had_set += here * up * to_set
            by_chance += here * concentration / so_far * (to_set - to_slid)
            by_concentration += here * (chance * i - r) / so_far**2 * (to_set - to_slid)
            ahead[i, r] = up * to_set + stay * to_slid
        log_set[i] = had_set
    return total, by_chance * chance * against, by_concentration


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def weigh_one(log_set: float, log_slid: float, odds: float) -> tuple[float, float, float]:
    """Return what :func:`weigh_setting` does of a single pull, which has no other to fail with.

    Returns
    -------
    tuple of float
        Log likelihood; slope by the odds; chance that it had set.
    """
    chance, against = 1.0 / (1.0 + math.exp(-odds)), 1.0 / (1.0 + math.exp(odds))
    largest = max(log_set, log_slid)
    sets, slides = math.exp(log_set - largest), math.exp(log_slid - largest)
    either = chance * sets + against * slides
    return math.log(either) + largest, chance * against * (sets - slides) / either, chance * sets / either


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def log_chance_all_set(pulls: int, odds: float, concentration: float) -> tuple[float, float, float]:
    """Return the log chance that as many pulls all set, and its slopes by the odds and the concentration."""
    chance, against = 1.0 / (1.0 + math.exp(-odds)), 1.0 / (1.0 + math.exp(odds))
    by_chance, by_concentration, product = 0.0, 0.0, 1.0
    for i in range(pulls):
        ways, so_far = chance * concentration + i, concentration + i
        product *= ways / so_far
        by_chance += concentration / ways
        by_concentration += chance / ways - 1.0 / so_far
    return math.log(product), by_chance * chance * against, by_concentration


@numba.njit(error_model="numpy", _nrt=False)  # type: ignore[untyped-decorator]
def _forward(
    log_set: Numbers,
    log_slid: Numbers,
    chance: float,
    against: float,
    concentration: float,
    lattice: Numbers,
) -> float:
    """Fill row i of the lattice with shares of the ways in which r of the first i pulls set.

    The last column keeps what each row was divided by.
    """
    pulls, total = log_set.size, 0.0
    lattice[0, 0] = 1.0
    for i in range(pulls):
        largest = max(log_set[i], log_slid[i])
        sets, slides = math.exp(log_set[i] - largest), math.exp(log_slid[i] - largest)
        norm = next_shares(i, sets, slides, chance, against, concentration, lattice)
        lattice[i + 1, pulls + 1] = norm
        total += math.log(norm) + largest
    return total


@numba.njit(error_model="numpy", _nrt=False)  # type: ignore[untyped-decorator]
def next_shares(
    i: int, sets: float, slides: float, chance: float, against: float, concentration: float, lattice: Numbers
) -> float:
    """Fill row i + 1 of the lattice from row i; return the likelihood of pull i given those before it.

    ``sets`` and ``slides`` are the likelihoods of its reading if the anchor set and if it did not.
    """
    so_far, norm = concentration + i, 0.0
    lattice[i + 1, 0] = 0.0
    for r in range(i + 1):
        here = lattice[i, r]
        lattice[i + 1, r + 1] = here * (chance * concentration + r) / so_far * sets
        lattice[i + 1, r] += here * (against * concentration + i - r) / so_far * slides
    for r in range(i + 2):
        norm += lattice[i + 1, r]
    for r in range(i + 2):
        lattice[i + 1, r] /= norm
    return norm


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def room_for(pulls: int) -> tuple[Any, Any]:
    """Return room to work in for :func:`weigh_setting`, for as many pulls."""
    return np.empty((pulls + 1, pulls + 2)), np.empty((pulls + 1, pulls + 2))

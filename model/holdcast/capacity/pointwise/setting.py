"""Whether each pull's anchor set, draw by draw: what the model integrates out, evaluated afterwards."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import expit, log_ndtr

from holdcast.capacity.likelihood.kinds import (
    ABOVE,
    BELOW,
    BETWEEN,
    DID_NOT_SET,
    EXACT,
    LABEL_ERROR,
    SET,
)

__all__ = ["SettingDraws", "chances_of_word", "sliding_log_likelihood", "weigh_draws"]

Numbers = NDArray[np.float64]
_HALF_LOG_2_PI = 0.5 * np.log(2.0 * np.pi)


class SettingDraws(NamedTuple):
    """What draws say of each pull; arrays of shape (sample, trial).

    Attributes
    ----------
    in_turn : log likelihood of a pull given those before it on its spot; they add up to that of all.
    given_others : log likelihood of a pull given all others on its spot.
    expected : chance that it sets, given all others on its spot but not its own reading.
    had_set : chance that it had set, given all readings.
    """

    in_turn: Numbers
    given_others: Numbers
    expected: Numbers
    had_set: Numbers


def chances_of_word(setting: NDArray[np.int64], kind: NDArray[np.int64]) -> tuple[Numbers, Numbers]:
    """Return the chances that the log says what it does of each pull, if its anchor set and if it did not.

    Parameters
    ----------
    setting, kind : arrays, shape (trial,)
        Codes of :mod:`holdcast.capacity.likelihood.kinds`.

    Returns
    -------
    tuple of arrays, shape (trial,)
        1 and 1 where nothing is said, and where the pull was stopped while it held, which needs no word.
    """
    said_set, said_slid = (setting == SET) & (kind != ABOVE), setting == DID_NOT_SET
    if_set = np.select([said_set, said_slid], [1.0 - LABEL_ERROR, LABEL_ERROR], 1.0)
    if_slid = np.select([said_set, said_slid], [LABEL_ERROR, 1.0 - LABEL_ERROR], 1.0)
    return if_set, if_slid


def sliding_log_likelihood(middle: Numbers, scatter: Numbers, inputs: xr.Dataset) -> Numbers:
    """Return the log likelihood of each reading if the anchor did not set, shape (sample, trial).

    Parameters
    ----------
    middle, scatter : arrays, shape (sample, trial)
        Of the log of the load at which it slides [log N], normal.
    inputs : Dataset
        ``lower``, ``upper``, ``kind`` and ``setting`` of the pulls.

    Returns
    -------
    array
        Minus infinity where it is known to have set: it was stopped while it held.  What the word in the
        column `set` weighs is not in it.
    """
    kind, setting = inputs["kind"].to_numpy(), inputs["setting"].to_numpy()
    low, high = ((inputs[end].to_numpy() - middle) / scatter for end in ("lower", "upper"))
    value = np.zeros_like(middle)
    exact, below, above, between = (kind == each for each in (EXACT, BELOW, ABOVE, BETWEEN))
    value[:, exact] = (-0.5 * high**2 - _HALF_LOG_2_PI - np.log(scatter))[:, exact]
    value[:, below] = log_ndtr(high[:, below])
    value[:, above] = log_ndtr(-low[:, above])
    mirrored = low + high > 0.0
    near = log_ndtr(np.where(mirrored, -low, high)[:, between])
    far = log_ndtr(np.where(mirrored, -high, low)[:, between])
    value[:, between] = near + np.log(-np.expm1(far - near))
    return np.where((setting == SET) & (kind == ABOVE), -np.inf, value)


def weigh_draws(
    log_set: Numbers, log_slid: Numbers, log_odds: Numbers, concentration: Numbers, inputs: xr.Dataset
) -> SettingDraws:
    """Return what draws say of each pull, whether its anchor set being weighed.

    Parameters
    ----------
    log_set, log_slid : arrays, shape (sample, trial)
        Log likelihood of each reading if the anchor set and if it did not.
    log_odds : array, shape (sample, spot)
        Of setting, of each spot's anchor in its seabed.
    concentration : array, shape (sample,)
    inputs : Dataset
        ``spot_first``, ``spot_pulls`` and ``pull_order``.
    """
    answers = [np.zeros_like(log_set) for _ in SettingDraws._fields]
    spots = list(_pulls_by_spot(inputs))
    alone = [(spot, pulls[0]) for spot, pulls in spots if len(pulls) == 1]
    if alone:
        at_spot, at_pull = (list(each) for each in zip(*alone, strict=True))
        parts = _pulls_alone(log_set[:, at_pull], log_slid[:, at_pull], log_odds[:, at_spot])
        for whole, part in zip(answers, parts, strict=True):
            whole[:, at_pull] = part
    for spot, pulls in spots:
        if len(pulls) == 1:
            continue
        parts = _one_spot(log_set[:, pulls], log_slid[:, pulls], log_odds[:, spot], concentration)
        for whole, part in zip(answers, parts, strict=True):
            whole[:, pulls] = part
    return SettingDraws(*answers)


def _pulls_by_spot(inputs: xr.Dataset) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """Yield each spot with the positions of its pulls among those at hand."""
    order = inputs["pull_order"].to_numpy()
    bounds = zip(inputs["spot_first"].to_numpy(), inputs["spot_pulls"].to_numpy(), strict=True)
    for spot, (first, number) in enumerate(bounds):
        if number:
            yield spot, order[first : first + number]


def _pulls_alone(log_set: Numbers, log_slid: Numbers, log_odds: Numbers) -> SettingDraws:
    """Return the parts of pulls that have no other on their spots, all of shape (sample, pull)."""
    largest = np.maximum(log_set, log_slid)
    chance = expit(log_odds)
    sets, slides = chance * np.exp(log_set - largest), expit(-log_odds) * np.exp(log_slid - largest)
    likelihood = np.log(sets + slides) + largest
    return SettingDraws(likelihood, likelihood, chance, sets / (sets + slides))


def _one_spot(log_set: Numbers, log_slid: Numbers, log_odds: Numbers, concentration: Numbers) -> SettingDraws:
    """Return the parts of one spot, each of shape (sample, pull): forwards and backwards over Pólya's urn."""
    pulls = log_set.shape[1]
    largest = np.maximum(log_set, log_slid)
    sets, slides = np.exp(log_set - largest), np.exp(log_slid - largest)
    # 1 - chance is nothing in floating point where setting is sure.
    chance, against = expit(log_odds)[:, None], expit(-log_odds)[:, None]
    urn = concentration[:, None]
    up, stay, ahead, norms = [], [], [np.ones((len(chance), pulls + 1))], []
    ways = [np.ones((len(chance), 1))]
    for i in range(pulls):
        r = np.arange(i + 1)
        up.append((chance * urn + r) / (urn + i))
        stay.append((against * urn + (i - r)) / (urn + i))
        following = np.zeros((len(chance), i + 2))
        following[:, 1:] += ways[i] * up[i] * sets[:, i : i + 1]
        following[:, :-1] += ways[i] * stay[i] * slides[:, i : i + 1]
        norms.append(following.sum(axis=1, keepdims=True))
        ways.append(following / norms[i])
    expected, unexpected, had_set = (np.empty_like(log_set) for _ in range(3))
    for i in reversed(range(pulls)):
        to_set = (ways[i] * up[i] * ahead[-1][:, 1:]).sum(axis=1)
        to_slid = (ways[i] * stay[i] * ahead[-1][:, :-1]).sum(axis=1)
        expected[:, i] = to_set / (to_set + to_slid)
        unexpected[:, i] = to_slid / (to_set + to_slid)
        had_set[:, i] = sets[:, i] * to_set / (sets[:, i] * to_set + slides[:, i] * to_slid)
        ahead.append(
            (
                up[i] * ahead[-1][:, 1:] * sets[:, i : i + 1]
                + stay[i] * ahead[-1][:, :-1] * slides[:, i : i + 1]
            )
            / norms[i]
        )
    both = expected * sets + unexpected * slides
    return SettingDraws(np.log(np.hstack(norms)) + largest, np.log(both) + largest, expected, had_set)

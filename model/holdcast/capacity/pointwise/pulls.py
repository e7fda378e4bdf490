"""The likelihood of each pull, evaluated on draws; the model itself has only the sum (tests compare them)."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import ndtr

from holdcast.capacity.likelihood.kinds import DEGREES_OF_FREEDOM
from holdcast.capacity.pointwise.pulls_as_drawn import PullsAsDrawn
from holdcast.capacity.pointwise.student_and_normal import shares_below

__all__ = ["PullDraws", "pull_draws", "shifted_log_likelihoods"]

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class PullDraws:
    """What draws say of each pull; arrays of shape (chain, draw, trial).

    Attributes
    ----------
    log_likelihood : log density of an exact row, log probability of another, given the others on its spot.
    location, scale : median and scale of the log load of a pull that set, at reference conditions [log N].
    spot, spot_spread : what of the location is owed to the spot; and the spread of what the spot does beside
        [log N], 0 but for a pull that is alone on its spot.
    expected, had_set : chance that it sets, without and with its own reading.
    sliding, sliding_scatter : middle and scatter of the log load at which it slides if not [log N].
    """

    log_likelihood: Numbers
    location: Numbers
    scale: Numbers
    spot: Numbers
    spot_spread: Numbers
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
        margin, spread = (log_load - self.location) / self.scale, self.spot_spread / self.scale
        by_pull = [each.reshape(-1, each.shape[-1]).T for each in (margin, spread)]
        set_below = shares_below(*by_pull).T.reshape(margin.shape)
        slid_below = ndtr((as_read - self.sliding) / self.sliding_scatter)
        return np.asarray(self.expected * set_below + (1.0 - self.expected) * slid_below)

    def replicate(self, random: np.random.Generator) -> Numbers:
        """Return one log load of each pull as if it were made again, shape (chain, draw, trial)."""
        held = self.location + self.scale * random.standard_t(DEGREES_OF_FREEDOM, self.location.shape)
        held += self.spot_spread * random.standard_normal(self.location.shape)
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

    Notes
    -----
    As in the model, what the spot of a single pull does is summed over, and no part of the location.
    """
    pulls = PullsAsDrawn(draws, inputs)
    said = pulls.weighed(pulls.log_set())
    of_the_load = (said.given_others, pulls.location, pulls.scale, pulls.spot, pulls.spot_spread)
    parts = (*of_the_load, said.expected, said.had_set, pulls.sliding, pulls.sliding_scatter)
    return PullDraws(*(np.reshape(part, pulls.location.shape) for part in parts))


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
    pulls = PullsAsDrawn(draws, inputs)
    for shift in shifts:
        yield pulls.weighed(pulls.log_set(shift)).in_turn.reshape(pulls.location.shape)

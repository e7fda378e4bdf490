r"""One new pull on a new visit: the chance that it exceeds a load, and the load it reaches with a chance.

Every answer about a new pull asks here.  The chance is the mean over draws of

.. math:: P(\log T > x) = p P(c + v z + s t_4 > x) + (1 - p) P(w + u y > x)

with *p* the chance that the anchor digs in, *c* the log capacity of the draw, *z* and *y* standard normals
(visit and spot; sliding), *t* Student's t of 4 degrees of freedom (pull) and *w* the log load at which the
anchor slides that has not set: the mixture itself, without a random number.  What visit, spot and pull do
together is told by :mod:`holdcast.capacity.pointwise.student_and_normal`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from holdcast.answers.draws.anchors import AnchorDraws
from holdcast.answers.draws.capacity import log_capacity
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.rode import ALONG_THE_BOTTOM, Geometry, fall_on_rode, log_needed
from holdcast.answers.draws.seabeds import SeabedDraws
from holdcast.answers.draws.setting import chance_of_setting, log_sliding_load
from holdcast.capacity.likelihood.kinds import ABOVE
from holdcast.capacity.pointwise.student_and_normal import StudentAndNormal, student_and_normal
from holdcast.physics.rode.catenary import bar_tight_angle_deg
from holdcast.physics.roots import bracket, root_between
from holdcast.physics.tackle.own_weight import LEAST_FRICTION_ANGLE_DEG, own_weight_floor_n
from holdcast.physics.units import GRAVITY

__all__ = [
    "NewPull",
    "floor_of_weight_n",
    "least_let_go",
    "least_load_n",
    "load_survival",
    "new_pull",
    "visit_and_spot",
]

_THINNED = 16
"""Every so many-th draw finds where to look for a quantile, then all find it."""
_NEAR = 0.06
"""How far from what thinned draws say all draws are looked at, on the log load."""
_EXACT = 2e-7
"""Of a chance: then its log load is found."""


def load_survival(log_load: Floats, capacity: Floats, visit_spread: Floats, pull_scatter: Floats) -> Floats:
    """Return for each draw the chance that one new pull whose anchor set exceeds a log load.

    Parameters
    ----------
    log_load, capacity : arrays, shape (…, sample)
        Log load at reference conditions and log capacity [log N]; they broadcast.
    visit_spread, pull_scatter : arrays, shape (sample,)
        Standard deviation of what visit and spot do together, and scale of a pull's scatter [log N].

    Returns
    -------
    array, shape (…, sample)
    """
    margin = (capacity - log_load) / pull_scatter
    ratio = np.broadcast_to(visit_spread / pull_scatter, margin.shape[-1:])
    return student_and_normal(ratio).below(margin)


@dataclass(frozen=True)
class NewPull:
    """What decides the load of one new pull of each of some anchors in one seabed, as draws.

    Attributes
    ----------
    capacity : array, shape (anchor, sample), log capacity [log N].
    visit_spread, pull_scatter : arrays, shape (sample,), see :func:`load_survival` [log N].
    sets : array, shape (anchor, sample), chance that the anchor digs in [1].
    sliding : array, shape (anchor, sample), middle of the log load at which it slides if not [log N].
    sliding_scatter : array, shape (sample,), its standard deviation [log N].
    fall : array, shape (sample,), strength of fall with the uplift angle [1].
    geometry : how the rode leads.
    floor_n : array, shape (anchor,), load that every pull reaches, see :func:`least_load_n` [N].
    """

    capacity: Floats
    visit_spread: Floats
    pull_scatter: Floats
    sets: Floats
    sliding: Floats
    sliding_scatter: Floats
    fall: Floats
    geometry: Geometry
    floor_n: Floats

    @cached_property
    def _about_capacity(self) -> StudentAndNormal:
        """What visit, spot and pull do together, in scales of the pull's scatter."""
        return student_and_normal(self.visit_spread / self.pull_scatter)

    def chances(self, load_n: Floats) -> Floats:
        """Return the chance that each anchor's pull exceeds each load at it [N], shape (anchor, load).

        Parameters
        ----------
        load_n : array, shape (load,) or (anchor, load)
            The same loads for every anchor, or each anchor's own.
        """
        load = np.asarray(load_n, dtype=float)
        log_load = np.log(load)
        # Once for all: the lead of a rode takes longer to find than a chance.
        lost = fall_on_rode(log_load, self.geometry)
        shape = (len(self.capacity), load.shape[-1])
        parts = zip(np.broadcast_to(log_load, shape), np.broadcast_to(lost, shape), strict=True)
        chances = [
            self._mixed(own, own[:, None] + self.fall * own_lost[:, None], np.array([place]))
            for place, (own, own_lost) in enumerate(parts)
        ]
        return np.where(load <= self.floor_n[:, None], 1.0, np.stack(chances))

    def quantiles_n(self, probabilities: Sequence[float]) -> Floats:
        """Return loads at the anchor that stay unreached with each probability [N], (anchor, probability)."""
        shape = (len(self.capacity), len(probabilities))
        wanted = np.broadcast_to(1.0 - np.asarray(probabilities, dtype=float), shape).ravel()
        anchor = np.repeat(np.arange(shape[0]), shape[1])
        few = self.of_draws(slice(None, None, _THINNED))
        near = few._log_loads(wanted, anchor, np.median(self.capacity, axis=1)[anchor], 0.5)
        loads = np.exp(self._log_loads(wanted, anchor, near, _NEAR)).reshape(shape)
        return np.maximum(loads, self.floor_n[:, None])

    def of_draws(self, which: slice | NDArray[np.int64]) -> "NewPull":
        """Return the same pull from some of the draws; one may be taken more than once."""
        return replace(
            self,
            capacity=self.capacity[:, which],
            visit_spread=self.visit_spread[which],
            pull_scatter=self.pull_scatter[which],
            sets=self.sets[:, which],
            sliding=self.sliding[:, which],
            sliding_scatter=self.sliding_scatter[which],
            fall=self.fall[which],
        )

    def of_anchor(self, anchor: int) -> "NewPull":
        """Return the pull of one of its anchors."""
        only = slice(anchor, anchor + 1)
        return replace(
            self,
            capacity=self.capacity[only],
            sets=self.sets[only],
            sliding=self.sliding[only],
            floor_n=self.floor_n[only],
        )

    def _chance(self, log_load: Floats, anchor: NDArray[np.int64]) -> Floats:
        """Return the chance of exceeding each load (n,) with the anchors at these places, (n,) or (1,)."""
        return self._mixed(log_load, log_needed(log_load[:, None], self.fall, self.geometry), anchor)

    def _mixed(self, log_load: Floats, needed: Floats, anchor: NDArray[np.int64]) -> Floats:
        """Return the same, given the loads along the bottom that these stand for, shape (n, sample)."""
        held = self._about_capacity.below((self.capacity[anchor] - needed) / self.pull_scatter)
        sets = self.sets[anchor]
        if np.all(sets == 1.0):
            return np.asarray(held.mean(axis=-1))
        slid = ndtr((self.sliding[anchor] - log_load[:, None]) / self.sliding_scatter)
        return np.asarray((sets * held + (1.0 - sets) * slid).mean(axis=-1))

    def _log_loads(self, wanted: Floats, anchor: NDArray[np.int64], near: Floats, width: float) -> Floats:
        """Return log loads exceeded with the chances wanted, looked for within a width at first."""

        def excess(log_load: Floats, chance: Floats, of: NDArray[np.int64]) -> Floats:
            flat = self._chance(log_load.ravel(), of.ravel())
            return flat.reshape(log_load.shape) - chance

        def solved(low: Floats, high: Floats, which: NDArray[np.int64]) -> Floats:
            args = (wanted[which], anchor[which])
            return root_between(excess, low, high, args, {"fatol": _EXACT})

        log_load = solved(near - width, near + width, np.arange(len(wanted)))
        far = np.flatnonzero(np.isnan(log_load))
        if len(far):
            ends = near[far] - width, near[far] + width
            log_load[far] = solved(*bracket(excess, *ends, (wanted[far], anchor[far])), far)
        return log_load


def visit_and_spot(draws: Draws) -> Floats:
    """Return the standard deviation of what a new visit and the anchor's spot there do together [log N]."""
    return np.asarray(np.hypot(draws["visit_spread"], draws["spot_spread"]))


def least_load_n(draws: Draws, mass_kg: float, geometry: Geometry = ALONG_THE_BOTTOM) -> float:
    """Return the load that no new pull of an anchor is told to stay below [N].

    What its own weight resists by sliding, see :mod:`holdcast.physics.tackle.own_weight`; less where a pull
    of the log let go at less for its weight, since what was measured speaks against the rule.  On a rode the
    angle between the bottom and a straight lead counts at which it slides most easily.
    """
    return float(floor_of_weight_n(np.array(mass_kg * GRAVITY), least_let_go(draws), geometry))


def floor_of_weight_n(weight_n: Floats, let_go: float, geometry: Geometry) -> Floats:
    """Return the same for weights [N], from what :func:`least_let_go` gives."""
    steepest = 0.0 if np.isnan(geometry.scope) else float(bar_tight_angle_deg(geometry.scope))
    angle = min(steepest, LEAST_FRICTION_ANGLE_DEG)
    return np.asarray(np.minimum(own_weight_floor_n(weight_n, angle), let_go * weight_n), dtype=float)


def least_let_go(draws: Draws) -> float:
    """Return the least load over its anchor's weight at which a pull of the log let go [1], or infinity."""
    inputs = draws.inputs
    let_go = inputs["kind"].to_numpy() != ABOVE
    over_weight = inputs["upper"].to_numpy() - inputs["log_weight"].to_numpy()[inputs["anchor_of"].to_numpy()]
    return float(np.exp(over_weight[let_go]).min(initial=np.inf))


def new_pull(
    draws: Draws, anchors: Sequence[AnchorDraws], seabed: SeabedDraws, geometry: Geometry = ALONG_THE_BOTTOM
) -> NewPull:
    """Return one new pull of each of some anchors in a seabed."""
    return NewPull(
        np.stack([log_capacity(draws, anchor, seabed) for anchor in anchors]),
        visit_and_spot(draws),
        seabed.pull_scatter,
        np.stack([chance_of_setting(draws, anchor, seabed) for anchor in anchors]),
        np.stack([log_sliding_load(draws, anchor.mass_kg) for anchor in anchors]),
        draws["sliding_scatter"],
        draws["strength_of_fall"],
        geometry,
        floor_of_weight_n(
            np.array([anchor.mass_kg * GRAVITY for anchor in anchors]), least_let_go(draws), geometry
        ),
    )

r"""One new pull on a new visit: the chance that it exceeds a load, and the load that it reaches with a chance.

Every answer about a new pull asks here.  The chance is the mean over draws of

.. math:: P(\log T > x) = P(c + v z + s t_4 > x)

with *c* the log capacity of the draw, *z* standard normal (visit) and *t* Student's t of 4 degrees of freedom
(pull): the mixture itself, without a random number.  The normal is integrated on an even grid, since that rule
converges geometrically for smooth functions (Trefethen & Weideman 2014, *SIAM Rev.* 56:385, value from
memory): with a step of at most s / v the chance is off by at most 3e-5 whatever the two spreads (computed, against
600 nodes), and by less than 1e-6 where v is at most half of s.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numba
import numpy as np
from scipy.optimize.elementwise import bracket_root, find_root

from holdcast.answers.draws.anchors import AnchorDraws
from holdcast.answers.draws.capacity import log_capacity
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.rode import ALONG_THE_BOTTOM, Geometry, log_needed
from holdcast.answers.draws.seabeds import SeabedDraws

__all__ = ["NewPull", "load_survival", "new_pull"]

_WIDEST_STEP, _SMOOTH, _REACH = 1.0, 0.85, 4.8
"""Of the grid over the visit, in standard deviations, the second over v / s; 2e-6 of a normal lie beyond."""
_MOST_NODES = 401
"""Of the grid; reached where the visits spread forty times as widely as the pulls."""
_THINNED = 16
"""Every so many-th draw finds where to look for a quantile, then all find it."""
_NEAR, _TOLERANCE = 0.06, 1e-6
"""Of a log load: how far all draws are looked at about what the thinned ones say, and when it is found."""


def load_survival(log_load: Floats, capacity: Floats, visit_spread: Floats, pull_scatter: Floats) -> Floats:
    """Return for each draw the chance that one new pull on a new visit exceeds a log load.

    What else decides a pull belongs here: an anchor's own spot on the visit (a further normal, so its spread
    joins that of the visit in quadrature), and whether the anchor sets at all (a mixture over two loads).

    Parameters
    ----------
    log_load, capacity : arrays, shape (…, sample)
        Log load at reference conditions and log capacity [log N]; they broadcast.
    visit_spread, pull_scatter : arrays, shape (sample,)
        Standard deviation of a visit's effect and scale of a pull's scatter [log N].

    Returns
    -------
    array, shape (…, sample)
    """
    margin = (capacity - log_load) / pull_scatter
    ratio = np.broadcast_to(visit_spread / pull_scatter, margin.shape[-1:])
    flat = np.ascontiguousarray(margin.reshape(-1, margin.shape[-1]), dtype=float)
    return np.asarray(_share_below(flat, np.ascontiguousarray(ratio, dtype=float)).reshape(margin.shape))


@numba.njit(cache=True, error_model="numpy", fastmath={"reassoc", "contract", "nsz"})  # type: ignore[untyped-decorator]
def _share_below(margin: Floats, ratio: Floats) -> Floats:
    """Return P(t + ratio z < margin) for margins (row, sample) and ratios (sample,).

    Student's t of 4 degrees of freedom is smooth within 2 / ratio of the real axis, which sets the step.  Its
    distribution function is 1/2 + 3/4 s - 1/4 s³ with s = t / √(4 + t²) (computed, by integrating the density
    with t = 2 tan θ).
    """
    share = np.empty(margin.shape)
    nodes, weights = np.empty(_MOST_NODES), np.empty(_MOST_NODES)
    for sample in range(ratio.size):
        step = max(_REACH / (_MOST_NODES // 2), min(_WIDEST_STEP, _SMOOTH / max(ratio[sample], 1e-9)))
        number = 2 * int(np.ceil(_REACH / step)) + 1
        total = 0.0
        for k in range(number):
            node = step * (k - number // 2)
            weights[k] = np.exp(-0.5 * node * node)
            nodes[k] = ratio[sample] * node
            total += weights[k]
        for row in range(margin.shape[0]):
            below = 0.0
            for k in range(number):
                t = min(max(margin[row, sample] + nodes[k], -1e9), 1e9)
                sine = t / np.sqrt(4.0 + t * t)
                below += weights[k] * sine * (0.75 - 0.25 * sine * sine)
            share[row, sample] = 0.5 + below / total
    return share


@dataclass(frozen=True)
class NewPull:
    """What decides the load of one new pull of an anchor in a seabed, as draws of shape (sample,).

    Attributes
    ----------
    capacity : log capacity [log N].
    visit_spread, pull_scatter : see :func:`load_survival` [log N].
    fall : strength of fall with the uplift angle [1].
    geometry : how the rode leads.
    """

    capacity: Floats
    visit_spread: Floats
    pull_scatter: Floats
    fall: Floats
    geometry: Geometry = ALONG_THE_BOTTOM

    def chances(self, load_n: Floats) -> Floats:
        """Return the chance that the pull exceeds each load at the anchor [N], shape of `load_n`: (load,)."""
        return self._chances(np.log(np.asarray(load_n, dtype=float)))

    def quantiles_n(self, probabilities: Sequence[float]) -> Floats:
        """Return loads at the anchor that the pull stays below with each probability [N]."""
        thinned = NewPull(
            *(each[::_THINNED] for each in (self.capacity, self.visit_spread, self.pull_scatter, self.fall)),
            self.geometry,
        )
        wanted = 1.0 - np.asarray(probabilities, dtype=float)
        median = np.full(wanted.shape, float(np.median(self.capacity)))
        near = thinned._log_loads(wanted, median, 0.5, 1e-3)
        return np.exp(self._log_loads(wanted, near, _NEAR, _TOLERANCE))

    def _chances(self, log_load: Floats) -> Floats:
        needed = log_needed(log_load[:, None], self.fall, self.geometry)
        return load_survival(needed, self.capacity, self.visit_spread, self.pull_scatter).mean(axis=-1)

    def _log_loads(self, wanted: Floats, near: Floats, width: float, tolerance: float) -> Floats:
        """Return log loads exceeded with the chances wanted, looked for within a width at first."""

        def excess(log_load: Floats, chance: Floats) -> Floats:
            return self._chances(log_load.ravel()).reshape(log_load.shape) - chance

        within = {"xatol": tolerance, "xrtol": 0.0}
        log_load = find_root(excess, (near - width, near + width), args=(wanted,), tolerances=within).x
        if (far := np.isnan(log_load)).any():
            wider = bracket_root(excess, near[far] - width, near[far] + width, args=(wanted[far],)).bracket
            log_load[far] = find_root(excess, wider, args=(wanted[far],), tolerances=within).x
        return np.asarray(log_load)


def new_pull(
    draws: Draws,
    anchor: AnchorDraws,
    seabed: SeabedDraws,
    geometry: Geometry = ALONG_THE_BOTTOM,
    *,
    capacity: Floats | None = None,
) -> NewPull:
    """Return one new pull of an anchor in a seabed; its log capacity is worked out where it is not given."""
    return NewPull(
        log_capacity(draws, anchor, seabed) if capacity is None else capacity,
        draws["visit_spread"],
        seabed.pull_scatter,
        draws["strength_of_fall"],
        geometry,
    )

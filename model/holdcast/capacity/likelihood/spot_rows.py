r"""The likelihood of one pull that is alone on its spot, summed over what the spot does.

A number for a spot of one pull would be one that the log hardly tells from the pull's own scatter; and there
may be thousands.  So the sampler moves none: with *r* the spots' spread in scales of the scatter and *z* a
standard normal, the reading's probability is

.. math:: \mathrm{E}\, p(a - r z, b - r z) \approx \sum_k w_k\, p(a - r z_k, b - r z_k)

over the even grid of :mod:`.spot_grid`.  The slopes are those of the sum itself, so they agree to the last
digits.

The loops over the grid are kept apart by kind of reading, without branches, and may add up in any order: so
the compiler takes several points at once, in half the time.
"""

import math

import numba
import numpy as np

from holdcast.capacity.likelihood.interval_rows import ABOVE, BELOW, EXACT, Distribution, row_of
from holdcast.capacity.likelihood.spot_grid import PLACES, REACH, WEIGHTS, steps_of_spots
from holdcast.capacity.symbols import Compiled

__all__ = ["row_over_spots"]

_steps_of_spots = numba.njit(error_model="numpy")(steps_of_spots)


def row_over_spots(distribution: Distribution) -> Compiled:
    """Return the compiled function of one reading: (low, high, kind, ratio).

    Parameters
    ----------
    distribution : Distribution
        Of the scatter.

    Returns
    -------
    callable
        Takes both ends in scales from the median, the kind of reading and the spots' spread in scales.  Gives
        the log likelihood, but for an exact row's scale, and its slopes by both ends and by that spread; with
        no spread it is the plain row.
    """
    exact, one_end, both_ends = _exact(distribution), _one_end(distribution), _both_ends(distribution)
    known = row_of(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def row(low: float, high: float, kind: int, ratio: float) -> tuple[float, float, float, float]:
        if ratio == 0.0:
            likelihood, by_low, by_high = known(low, high, kind)
            return likelihood, by_low, by_high, 0.0
        # Most often one: told apart below, for loops of a length that the compiler knows.
        steps = _steps_of_spots(ratio)
        if kind == EXACT:
            total, by_high, by_ratio = exact(high, 1, ratio) if steps == 1 else exact(high, steps, ratio)
            per_total = 1.0 / total
            return math.log(total), 0.0, by_high * per_total, by_ratio * per_total
        # Mirrored so that both ends lie where the tails are small; the grid is its own mirror image.
        mirrored = kind == ABOVE or (kind != BELOW and low + high > 0.0)
        far, near = (-high, -low) if mirrored else (low, high)
        if kind in (BELOW, ABOVE):
            total, by_near, by_ratio = one_end(near, 1, ratio) if steps == 1 else one_end(near, steps, ratio)
            by_far = 0.0
        else:
            total, by_far, by_near, by_ratio = (
                both_ends(far, near, 1, ratio) if steps == 1 else both_ends(far, near, steps, ratio)
            )
        by_low, by_high = (-by_near, -by_far) if mirrored else (by_far, by_near)
        per_total = 1.0 / total
        return math.log(total), by_low * per_total, by_high * per_total, by_ratio * per_total

    return row


def _exact(distribution: Distribution) -> Compiled:
    """Return the compiled density of an exact reading over the grid, and its slopes by end and ratio."""
    density, slope = distribution.density, distribution.slope

    @numba.njit(error_model="numpy", fastmath={"reassoc"})  # type: ignore[untyped-decorator]
    def exact(end: float, steps: int, ratio: float) -> tuple[float, float, float]:
        first = 2 * REACH * (steps - 1)
        total, by_end, by_ratio = 0.0, 0.0, 0.0
        for k in range(2 * REACH * steps):
            z = PLACES[first + k]
            at = end - ratio * z
            here = WEIGHTS[first + k] * density(at)
            moved = here * slope(at)
            total += here
            by_end += moved
            by_ratio -= z * moved
        return total, by_end, by_ratio

    return exact


def _one_end(distribution: Distribution) -> Compiled:
    """Return the compiled probability below an end over the grid, and its slopes by end and ratio."""
    density, probability = distribution.density, distribution.probability

    @numba.njit(error_model="numpy", fastmath={"reassoc"})  # type: ignore[untyped-decorator]
    def one_end(end: float, steps: int, ratio: float) -> tuple[float, float, float]:
        first = 2 * REACH * (steps - 1)
        total, by_end, by_ratio = 0.0, 0.0, 0.0
        for k in range(2 * REACH * steps):
            z = PLACES[first + k]
            at, weight = end - ratio * z, WEIGHTS[first + k]
            moved = weight * density(at)
            total += weight * probability(-np.inf, at)
            by_end += moved
            by_ratio -= z * moved
        return total, by_end, by_ratio

    return one_end


def _both_ends(distribution: Distribution) -> Compiled:
    """Return the compiled probability between two ends over the grid, and its slopes by ends and ratio."""
    density, probability = distribution.density, distribution.probability

    @numba.njit(error_model="numpy", fastmath={"reassoc"})  # type: ignore[untyped-decorator]
    def both_ends(far: float, near: float, steps: int, ratio: float) -> tuple[float, float, float, float]:
        first = 2 * REACH * (steps - 1)
        total, by_far, by_near, by_ratio = 0.0, 0.0, 0.0, 0.0
        for k in range(2 * REACH * steps):
            z = PLACES[first + k]
            shift, weight = ratio * z, WEIGHTS[first + k]
            at_far, at_near = weight * density(far - shift), weight * density(near - shift)
            total += weight * probability(far - shift, near - shift)
            by_far -= at_far
            by_near += at_near
            by_ratio += z * (at_far - at_near)
        return total, by_far, by_near, by_ratio

    return both_ends

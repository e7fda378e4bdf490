"""How far out a reading lies among those that were expected: one probability, the same wherever it is told.

The chance F(r) of a reading up to *r* comes from a cell's levels (:mod:`holdcast.answers.readings.expected`):
lines between the logit of the level's probability and the log of its reading, and the outermost level's
probability beyond the ends.  Then, for a highest load held *h* and a load *r* at which it let go,

    tail = 2 · min(1 - F(h), F(r)), at most 1

with 1 - F(h) = 1 where it never held and F(r) = 1 where it was not seen to let go.  So:

- *exact reading* (h = r): twice the smaller side, the usual two-sided probability.  Over pulls to come it is
  uniform between 0 and 1.
- *held and then let go* (h < r): the load lies between, and the tail is the largest that any load between
  would have; 1 when the middle of the expected readings lies between.
- *held, not let go* (the boat, the gear or the clock stopped the pull): only "as high as this or higher" is
  known, so only a load that is high counts as far out: 2 (1 - F(h)).
- *never held, let go at r*: the same downwards, 2 F(r).
- *did not dig in, no load read*: the chance that it does not dig in, 1 - sets.

Where a load is known in part, the tail is at least what the load itself would have had: such a pull is called
unusual no more often than an exact one.  A small tail never speaks for dropping a pull; it speaks for making
it again and for looking at the anchor.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

from holdcast.answers.draws.draws import Floats

__all__ = ["REPEAT_BELOW", "chance_up_to", "tail_probability"]

REPEAT_BELOW = 0.05
"""A pull with a smaller tail is worth making again; one in twenty is if all is as expected (a choice)."""


def chance_up_to(reading_n: ArrayLike, levels_n: ArrayLike, probabilities: ArrayLike) -> Floats:
    """Return the chance of a reading up to this one.

    Parameters
    ----------
    reading_n : array
        Readings [N]; 0 gives the first level's probability, infinity the last one's.
    levels_n, probabilities : arrays, shape (level,)
        Of one cell, both rising, see :func:`holdcast.answers.readings.expected.expected_readings`.
    """
    with np.errstate(divide="ignore"):
        log_reading = np.log(np.asarray(reading_n, dtype=float))
    odds = np.interp(log_reading, np.log(levels_n), logit(np.asarray(probabilities, dtype=float)))
    return np.asarray(expit(odds))


def tail_probability(
    held_n: ArrayLike, released_n: ArrayLike, levels_n: ArrayLike, probabilities: ArrayLike
) -> Floats:
    """Return the probability of a reading as far out as this or further, on either side, before it was seen.

    Parameters
    ----------
    held_n : array
        Highest load held [N]; 0 where it never held.
    released_n : array
        Load at which it let go [N]; infinity where it did not.  Equal to `held_n` for an exact reading.
    levels_n, probabilities : arrays, shape (level,)
        Of the cell, as for :func:`chance_up_to`.

    Returns
    -------
    array
        Above 0, at most 1; never below twice the outermost level's probability, which then stands for "this
        or less".

    Raises
    ------
    ValueError
        When a load is negative, or it let go below what it held.
    """
    held, released = np.asarray(held_n, dtype=float), np.asarray(released_n, dtype=float)
    if np.any(held < 0.0) or np.any(released < held):
        raise ValueError("a load held must be 0 or more, and a load at which it let go no lower")
    at_least = np.where(held > 0.0, 1.0 - chance_up_to(held, levels_n, probabilities), 1.0)
    at_most = np.where(np.isposinf(released), 1.0, chance_up_to(released, levels_n, probabilities))
    return np.asarray(np.minimum(1.0, 2.0 * np.minimum(at_least, at_most)))

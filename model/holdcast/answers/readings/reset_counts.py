"""How often an anchor sets again in so many attempts: what is expected, in a form that a page can carry.

The chance of a count is a mixture over the fit's draws of Pólya distributions (beta-binomials), since
failures of one visit go together.  Sixteen groups of draws, from those that give the lowest chance to those
that give the highest, stand for all: each with its mean chance, and with the concentration whose correlation
1 / (1 + c) is the group's mean.  A tail differs from that of all draws by about a hundredth at most.
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import betaln, expit

from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.provenance import about

__all__ = ["GROUPS", "count_tail", "reset_groups"]

GROUPS = 16
_NEXT_TO_NOTHING = 1e-9


def reset_groups(draws: Draws) -> xr.Dataset:
    """Return what reversals of 180 degrees are expected to do, in groups of draws.

    Returns
    -------
    Dataset, dims (anchor, seabed, group)
        ``reset_chance`` [1] of digging in again, rising; ``reset_concentration`` [1] of attempts.

    Raises
    ------
    KeyError
        When the fit's log holds no reset.
    """
    chance = expit(draws["resets_log_odds"])
    order = np.argsort(chance, axis=0)
    ordered = np.take_along_axis(chance, order, axis=0)
    correlation = 1.0 / (1.0 + draws["set_concentration"][order])
    means = [
        np.stack([part.mean(axis=0) for part in np.array_split(values, GROUPS)], axis=-1)
        for values in (ordered, correlation)
    ]
    dims = ("anchor", "seabed", "group")
    return xr.Dataset(
        {
            "reset_chance": (dims, means[0], about("1", "chance that it digs in again after a reversal")),
            "reset_concentration": (dims, 1.0 / means[1] - 1.0, about("1", "concentration of attempts")),
        },
        {dim: draws.labels(dim) for dim in ("anchor", "seabed")},
    )


def count_tail(
    attempts: int, successes: int, chance: Floats, concentration: Floats, weight: Floats | None = None
) -> float:
    """Return twice the chance of as few successes or fewer, or of as many or more, at most 1.

    Parameters
    ----------
    attempts, successes : int
    chance, concentration : arrays of shapes that broadcast
        Of the parts of a mixture, such as the groups of one cell (:func:`reset_groups`).
    weight : array, optional
        What each part counts, summing to 1 over the shape of `chance`; all alike without it.

    Raises
    ------
    ValueError
        When there are more successes than attempts, or fewer than none.
    """
    if not 0 <= successes <= attempts:
        raise ValueError(f"{successes} of {attempts} attempts cannot have succeeded")
    inside = np.clip(np.asarray(chance), _NEXT_TO_NOTHING, 1.0 - _NEXT_TO_NOTHING)
    alike = np.asarray(concentration)
    numbers = np.arange(attempts + 1).reshape(-1, *(1,) * np.ndim(inside))
    mass = _chance_of_count(numbers, attempts, inside * alike, (1.0 - inside) * alike)
    share = 1.0 / np.size(inside) if weight is None else weight
    shares = np.asarray(mass * share).reshape(attempts + 1, -1).sum(axis=1)
    return float(min(1.0, 2.0 * min(shares[: successes + 1].sum(), shares[successes:].sum())))


def _chance_of_count(successes: NDArray[np.int64], attempts: int, a: Floats, b: Floats) -> Floats:
    """Return the beta-binomial's probability; scipy's own takes most of a second to import."""
    failures = attempts - successes
    log_ways = -np.log(attempts + 1.0) - betaln(failures + 1.0, successes + 1.0)
    return np.asarray(np.exp(log_ways + betaln(successes + a, failures + b) - betaln(a, b)))

"""What is known after the tests of a day so far, and what each further test would take away."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from holdcast.answers.draws.draws import Floats
from holdcast.answers.plan.knowledge import Knowledge
from holdcast.answers.plan.open_questions import Doubts

__all__ = ["DaySoFar", "Leftovers", "leftovers"]

_STEPS = 128
_MOST_TARGETS = 1500
"""The search looks at this many pairs, those most in doubt; what it finds is weighed with all of them."""


@dataclass(frozen=True)
class Leftovers:
    """What is in doubt of each target, by how much was learnt of it.

    Attributes
    ----------
    targets : array, shape (target,), their places among all.
    table : array, shape (target, step), what is left where the root of the share of its variance that was
        learnt is step / steps.
    """

    targets: NDArray[np.int64]
    table: NDArray[np.float32]


def leftovers(doubts: Doubts) -> Leftovers:
    """Return what the search looks at: every band, or the pairs most in doubt."""
    number = len(doubts.weight)
    most = number if doubts.pairs is None else _MOST_TARGETS
    targets = np.sort(np.argsort(doubts.weight, kind="stable")[:most])
    share = np.sqrt(1.0 - np.linspace(0.0, 1.0, _STEPS + 1) ** 2)
    table = doubts.each(share, targets)
    return Leftovers(targets, np.ascontiguousarray(table, dtype=np.float32))


class DaySoFar:
    """Covariances of the cells that may be tested, after the tests so far; updated in place.

    Parameters
    ----------
    knowledge : Knowledge
    left : Leftovers
    cells : array of int, shape (cell,)
        Cells that may be tested.
    """

    def __init__(self, knowledge: Knowledge, leftovers: Leftovers, cells: NDArray[np.int64]) -> None:
        self.table = leftovers.table
        self.spot = knowledge.spot[np.ix_(cells, cells)]
        self.cross = np.ascontiguousarray(knowledge.cross[np.ix_(leftovers.targets, cells)].T)
        self.noise = knowledge.noise[cells]
        self.before = np.maximum(knowledge.now[leftovers.targets], np.finfo(float).tiny)
        self.now = knowledge.now[leftovers.targets].copy()
        self.pulls = np.zeros(len(cells), dtype=int)

    def see(self, at: int, pulls: int) -> None:
        """Take in pulls of the cell at a place: of a new spot, or more of the same."""
        place = np.array([at])
        total = float((self.spot[at, at] + self._noise(place, pulls))[0])
        self.pulls[at] += pulls
        along, across = self.spot[at].copy(), self.cross[at].copy()
        self.now -= across**2 / total
        self.cross -= np.outer(along / total, across)
        self.spot -= np.outer(along / total, along)

    def _noise(self, at: NDArray[np.int64], pulls: int) -> Floats:
        """Return the variance of the reading of so many more pulls: as much as they add to what is known."""
        so_far = self.pulls[at]
        precision = np.where(so_far > 0, 1.0 / self.noise[at, np.maximum(so_far, 1) - 1], 0.0)
        return np.asarray(1.0 / (1.0 / self.noise[at, so_far + pulls - 1] - precision))

    def left(self) -> float:
        """Return what is in doubt now."""
        nothing = np.zeros((1, len(self.now)))
        return float(_left_after(self.table, self.before, self.now, nothing, np.ones(1))[0])

    def left_after(self, at: NDArray[np.int64], pulls: int) -> Floats:
        """Return what would be in doubt after pulls of each of some cells alone, shape (cell,)."""
        total = self.spot[at, at] + self._noise(at, pulls)
        return np.asarray(_left_after(self.table, self.before, self.now, self.cross[at], total))

    def left_after_both(self, pairs: NDArray[np.int64], pulls: int) -> Floats:
        """Return what would be in doubt after pulls of both cells of each pair, shape (pair,)."""
        one, other = pairs.T
        total = self.spot[one, one] + self._noise(one, pulls)
        along = self.spot[one, other] / total
        then = self.spot[other, other] - along**2 * total + self._noise(other, pulls)
        first = self.cross[one] / np.sqrt(total)[:, None]
        second = (self.cross[other] - self.cross[one] * along[:, None]) / np.sqrt(then)[:, None]
        both = np.sqrt(first**2 + second**2)
        return np.asarray(_left_after(self.table, self.before, self.now, both, np.ones(len(pairs))))


def _left_after(
    table: NDArray[np.float32], before: Floats, now: Floats, cross: Floats, total: Floats
) -> Floats:
    """Return what is in doubt after one reading of each cell; straight lines between the table's steps."""
    steps = table.shape[1] - 1
    place = cross * cross
    place /= total[:, None]
    place += before - now
    place /= before
    np.clip(place, 0.0, 1.0, out=place)  # the share of the variance that is learnt
    np.sqrt(place, out=place)
    place *= steps
    step = np.minimum(place.astype(np.intp), steps - 1)
    place -= step
    step += np.arange(0, table.size, steps + 1)
    flat = table.ravel()
    low = flat[step]
    place *= flat[step + 1] - low
    place += low
    return np.asarray(place.sum(axis=1))

"""Days that somebody without a plan might spend in the same hours."""

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "HOURS",
    "PULL_H",
    "SETUP_H",
    "TRAVEL_H",
    "Tests",
    "emptiest_row_day",
    "hours_of_day",
    "random_day",
]

HOURS, SETUP_H, PULL_H = 8.0, 0.5, 0.25
TRAVEL_H = (0.2, 0.5, 0.8, 0.7, 0.6, 1.6, 1.1)  # to each seabed and back, as in the demo
PULLS = 2  # of each test, as in the log
VISITS = 2  # of a random day

type Tests = dict[tuple[int, int], int]
"""Pulls by anchor and seabed, as places."""


def hours_of_day(tests: Tests) -> float:
    """Return the hours of a day: travel once a visit, setting up once an anchor on it, and each pull."""
    travel = sum(TRAVEL_H[seabed] for seabed in {seabed for _, seabed in tests})
    return travel + sum(SETUP_H + PULL_H * pulls for pulls in tests.values())


def random_day(anchors: int, generator: np.random.Generator) -> Tests:
    """Return two seabeds at random, then anchors at random in either, while hours are left."""
    seabeds = generator.permutation(len(TRAVEL_H))[:VISITS]
    cells = [(anchor, int(seabed)) for anchor in range(anchors) for seabed in seabeds]
    return _filled([cells[at] for at in generator.permutation(len(cells))], {})


def emptiest_row_day(tested: NDArray[np.bool_]) -> Tests:
    """Return tests that fill the holes of the anchor with the most of them, the nearest seabed first.

    Hours that are left go to holes of the other anchors in the seabeds that are visited anyway.
    """
    order = np.argsort(tested.sum(axis=1), kind="stable")
    holes = [[(int(anchor), int(s)) for s in np.flatnonzero(~tested[anchor])] for anchor in order]
    first = _filled(sorted(holes[0], key=lambda cell: TRAVEL_H[cell[1]]), {})
    visited = {seabed for _, seabed in first}
    return _filled([cell for row in holes[1:] for cell in row if cell[1] in visited], first)


def _filled(cells: list[tuple[int, int]], tests: Tests) -> Tests:
    day = dict(tests)
    for cell in cells:
        longer = {**day, cell: PULLS}
        if hours_of_day(longer) <= HOURS:
            day = longer
    return day

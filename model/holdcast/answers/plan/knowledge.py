r"""What the draws say of cells together, and how much less would be in doubt after some pulls.

With *u* what the pulls of one spot tell without end (capacity, visit, spot), draws give its covariance *C*
over cells and its covariance *K* with what is in doubt.  After pulls in some cells, whose means vary about
their spots' *u* by *e*, the variance of what is in doubt is

.. math:: v - \mathrm{diag}\, K (C + \mathrm{diag}\, e)^{-1} K^T

the error of the best linear predictor (Searle, Casella & McCulloch 1992, *Variance Components*, ch. 7, value
from memory), which is exact for normals.  It does not depend on what will be read, so a day can be weighed
before it is lived.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.plan.open_questions import Doubts
from holdcast.answers.plan.readings import Readings

__all__ = ["Knowledge", "draws_worth", "know", "left_of", "variance_after"]

type Cell = int
"""A cell's place: its anchor's place times the number of seabeds, and its seabed's place."""


@dataclass(frozen=True)
class Knowledge:
    """Covariances over cells and of what is in doubt with cells.

    Attributes
    ----------
    capacity : array, shape (cell, cell), covariance of log capacity [(log N)²].
    spot : array, shape (cell, cell), covariance of what endless pulls of one spot would tell [(log N)²].
    noise : array, shape (cell, pulls), variance of the mean reading of 1, 2, … pulls about that [(log N)²].
    cross : array, shape (target, cell), covariance of what is in doubt with log capacity.
    now : array, shape (target,), variance of what is in doubt.
    worth : number of independent draws that these covariances are worth.
    """

    capacity: Floats
    spot: Floats
    noise: Floats
    cross: Floats
    now: Floats
    worth: float


def know(draws: Draws, readings: Readings, doubts: Doubts) -> Knowledge:
    """Return what the draws know of cells and of what is in doubt.

    Parameters
    ----------
    draws : Draws
    readings : Readings
    doubts : Doubts
    """
    dims = ("sample", "anchor", "seabed")
    cells = draws.posterior["log_capacity"].transpose(*dims).to_numpy().reshape(draws.samples, -1)
    about, away = cells - cells.mean(axis=0), doubts.draws - doubts.draws.mean(axis=0)
    freedom = draws.samples - 1
    capacity, cross = about.T @ about / freedom, away.T @ about / freedom
    now = (away**2).sum(axis=0) / freedom
    if doubts.pairs is not None:
        one, other = doubts.pairs
        now = now[one] + now[other] - 2.0 * (away.T @ away / freedom)[one, other]
        cross = cross[one] - cross[other]
    seabed = np.arange(cells.shape[1]) % len(draws.labels("seabed"))
    visit = readings.visit * (seabed[:, None] == seabed)
    blur = readings.blur.transpose("anchor", "seabed").to_numpy().ravel()
    noise = readings.noise.transpose("anchor", "seabed", "pulls").to_numpy().reshape(len(blur), -1)
    return Knowledge(capacity, capacity + visit + np.diag(blur), noise, cross, now, draws_worth(draws))


def draws_worth(draws: Draws) -> float:
    """Return the number of independent draws that a covariance of two capacities is worth.

    The products of two chains with correlation r from one draw to the next have r² (an identity for
    independent ones), and n such products are worth n (1 - r²) / (1 + r²) (of a first-order autoregression).
    """
    chains = draws.fit.posterior["log_capacity"].transpose("chain", "draw", ...).to_numpy()
    away = chains - chains.mean(axis=1, keepdims=True)
    variance = np.maximum((away**2).mean(axis=(0, 1)), np.finfo(float).tiny)
    lag = np.clip((away[:, 1:] * away[:, :-1]).mean(axis=(0, 1)) / variance, 0.0, 0.95)
    squared = float(np.mean(lag**2))
    return draws.samples * (1.0 - squared) / (1.0 + squared)


def variance_after(knowledge: Knowledge, pulls: Mapping[Cell, int]) -> Floats:
    """Return the variance of what is in doubt after some pulls, shape (target,).

    Parameters
    ----------
    knowledge : Knowledge
    pulls : mapping of cell to number of pulls
        Those of one seabed are of one visit.

    Notes
    -----
    Covariances of few draws let any cell seem to tell a little of any other, a share f / N of the variance
    for each of f effective observations from N draws.  As in the adjusted coefficient of determination, what
    is left is taken as so much more.
    """
    if not pulls:
        return knowledge.now
    at = np.fromiter(pulls, dtype=int)
    number = np.array([pulls[cell] for cell in pulls])
    seen = knowledge.spot[np.ix_(at, at)] + np.diag(knowledge.noise[at, number - 1])
    # Small matrices: an explicit inverse root and plain sums beat a library that shares them out to threads.
    root = np.linalg.inv(np.linalg.cholesky(seen))
    explained = (np.einsum("tc,dc->td", knowledge.cross[:, at], root) ** 2).sum(axis=1)
    remaining = np.maximum(knowledge.now - explained, 0.0)
    effective = float(np.einsum("dc,ce,de->", root, knowledge.capacity[np.ix_(at, at)], root))
    return np.asarray(np.minimum(remaining * (1.0 + effective / knowledge.worth), knowledge.now))


def left_of(knowledge: Knowledge, pulls: Mapping[Cell, int]) -> Floats:
    """Return the share of each standard deviation that is left after some pulls [1], shape (target,)."""
    safe = np.maximum(knowledge.now, np.finfo(float).tiny)
    return np.asarray(np.sqrt(variance_after(knowledge, pulls) / safe))

"""Least squares on rows that come in clusters of two kinds, which may cross: visits and anchors.

Pulls of one visit, and pulls of one anchor, have more in common than any two; counted as independent they
would make every slope look surer than it is.  The variance of an estimate comes from leaving out one whole
cluster after another (delete-one-cluster jackknife, CV3), once for each kind, and once for their crossings:

    V = V(visits) + V(anchors) - V(visits × anchors)

(Cameron, Gelbach & Miller 2011, *J. Bus. Econ. Stat.* 29:238; with the jackknife MacKinnon, Nielsen & Webb
2024, "Jackknife inference with two-way clustering"; values from memory), and at least that of either kind
alone.  Its t has one degree of freedom fewer than there are clusters of the rarer kind.  The jackknife rather
than a bootstrap or a permutation: with ten to twenty clusters of unequal size it is the one that errs to the
careful side (MacKinnon, Nielsen & Webb 2023, *J. Appl. Econom.* 38:671, value from memory); rows cannot be
permuted over crossed clusters; and there is no chance in it.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import stats

__all__ = ["Estimate", "clustered_line", "local_line"]

Numbers = NDArray[np.float64]
Groups = Sequence[NDArray[np.int64]]


class Estimate(NamedTuple):
    """A number with its standard error and the degrees of freedom of its t."""

    value: float
    error: float
    freedom: int

    def band(self, share: float = 0.9) -> tuple[float, float]:
        """Return the ends of an equal-tailed interval; both NaN without an error."""
        reach = float(stats.t.ppf(0.5 + 0.5 * share, self.freedom)) * self.error
        return self.value - reach, self.value + reach

    @property
    def p_value(self) -> float:
        """Chance of a value as far from 0, either way, were there nothing; NaN without an error."""
        return (
            float(2.0 * stats.t.sf(abs(self.value) / self.error, self.freedom)) if self.error > 0 else np.nan
        )


def clustered_line(columns: Numbers, response: Numbers, contrast: Numbers, clusters: Groups) -> Estimate:
    """Return a combination of least-squares coefficients with an error that respects clusters.

    Parameters
    ----------
    columns : array, shape (row, column)
        What the response is explained by, a column of ones included.
    response : array, shape (row,)
        Any unit.
    contrast : array, shape (column,)
        Weight of each coefficient in the answer.
    clusters : one or two integer arrays, shape (row,)
        Which cluster each row belongs to, 0 to the number of clusters less 1.

    Raises
    ------
    ValueError
        When there are not one or two kinds of clusters, or some kind has fewer than two.
    """
    if len(clusters) not in (1, 2) or min(len(np.unique(kind)) for kind in clusters) < 2:
        raise ValueError("one or two kinds of clusters are needed, each with at least 2 clusters")
    gram = columns[:, :, None] * columns[:, None, :]
    moment = columns * response[:, None]
    value = float(contrast @ _solve(gram.sum(axis=0)[None], moment.sum(axis=0)[None])[0])
    variances = [_jackknife(gram, moment, contrast, value, kind) for kind in clusters]
    if len(clusters) == 2:
        crossing = np.unique(np.stack(clusters), axis=1, return_inverse=True)[1]
        both = crossing.astype(np.int64)
        variances.append(sum(variances) - _jackknife(gram, moment, contrast, value, both))
    freedom = min(len(np.unique(kind)) for kind in clusters) - 1
    return Estimate(value, float(np.sqrt(max(variances))), freedom)


def local_line(
    places: Numbers, across: Numbers, response: Numbers, width: float, clusters: Groups
) -> list[Estimate]:
    """Return a smooth curve: at each place the height of a line fitted to the rows nearby.

    Local linear regression (Cleveland & Devlin 1988, *J. Am. Stat. Assoc.* 83:596, value from memory) with
    normal weights.

    Parameters
    ----------
    places : array, shape (place,)
        Where the curve is asked for, in the unit of `across`.
    across, response : arrays, shape (row,)
        Where each row lies, and its value.
    width : float
        Standard deviation of the weights, in the unit of `across`.
    clusters : one or two integer arrays, shape (row,)
        As in :func:`clustered_line`.
    """
    height = np.array([1.0, 0.0])
    curve = []
    for place in places:
        root = np.exp(-0.25 * ((across - place) / width) ** 2)
        columns = root[:, None] * np.stack([np.ones_like(across), (across - place) / width], axis=1)
        curve.append(clustered_line(columns, root * response, height, clusters))
    return curve


def _jackknife(
    gram: Numbers, moment: Numbers, contrast: Numbers, value: float, cluster: NDArray[np.int64]
) -> float:
    """Return the variance from leaving out one cluster after another."""
    number = int(cluster.max()) + 1
    left_gram, left_moment = (np.zeros((number, *each.shape[1:])) for each in (gram, moment))
    np.add.at(left_gram, cluster, gram)
    np.add.at(left_moment, cluster, moment)
    without = _solve(gram.sum(axis=0) - left_gram, moment.sum(axis=0) - left_moment) @ contrast
    return float((number - 1) / number * ((without - value) ** 2).sum())


def _solve(gram: Numbers, moment: Numbers) -> Numbers:
    """Return coefficients for each of many systems; where rows fix too little, the shortest solution."""
    return np.asarray((np.linalg.pinv(gram, rcond=1e-9, hermitian=True) @ moment[..., None])[..., 0])

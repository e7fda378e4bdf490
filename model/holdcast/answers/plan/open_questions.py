r"""What is in doubt, by what the day is for, and how much of it is left when spreads shrink.

*cells* and *features*: the mean width of the 90% bands that count, on the log scale; a band shrinks as its
standard deviation does.  *ranking*: the expected number of pairs in the wrong order when each is ordered as
most draws have it.  A difference is normal with mean *h* standard deviations; when a day leaves the share
*q* of its standard deviation, its order will be wrong with the chance

.. math:: 2 T\big(h,\; q / \sqrt{1 - q^2}\big)

with *T* Owen's function (computed: of a normal difference and its mean after the day, both signs differ;
Owen 1956, *Ann. Math. Stat.* 27:1075, value from memory).  Without a day that is the smaller share of draws.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri, owens_t

from holdcast.answers.draws.draws import Draws, Floats, draws_of
from holdcast.answers.plan.planned import AIMS, Aim
from holdcast.answers.rank.rank import SURE, log_measure
from holdcast.capacity.fitting import Fit

__all__ = ["Doubts", "Goal", "doubts_of", "wrong_orders"]

_BAND = (0.05, 0.95)
_HAIR = 1e-5


@dataclass(frozen=True)
class Goal:
    """What counts, all when nothing is named.

    Attributes
    ----------
    aim : one of `AIMS`.
    anchors, seabeds, features : labels whose bands or pairs count; features only where the day is for them.
    """

    aim: Aim = "cells"
    anchors: Sequence[str] = ()
    seabeds: Sequence[str] = ()
    features: Sequence[str] = ()


@dataclass(frozen=True)
class Doubts:
    """What is in doubt.

    Attributes
    ----------
    draws : array, shape (sample, value) [log 1 or log N].
    names : what each value is of: (anchor, seabed), or (feature, seabed).
    pairs : array, shape (2, pair), places of two values whose difference is in doubt; None where the values
        themselves are.
    weight : array, shape (target,): width of each band [1], or by how many standard deviations the draws
        have each pair apart [1].
    """

    draws: Floats
    names: tuple[tuple[str, str], ...]
    pairs: NDArray[np.int64] | None
    weight: Floats

    def left(self, share: Floats) -> float:
        """Return what is in doubt when a share of each standard deviation is left, shape (target,)."""
        if self.pairs is None:
            return float(share @ self.weight / len(self.weight))
        return float(wrong_orders(self.weight, share).sum())

    @property
    def chance_wrong(self) -> Floats:
        """The chance that a pair is in the wrong order as most draws have it, shape (pair,)."""
        return np.asarray(ndtr(-self.weight))

    def told_apart(self, share: Floats) -> float:
        """Return how many pairs should be told apart when shares of spreads are left; 0 for bands.

        The mean difference after the day is normal about today's, with the variance that the day takes away
        (an identity); a pair is told apart where it is `SURE`.
        """
        if self.pairs is None:
            return 0.0
        moves = np.sqrt(np.clip(1.0 - share**2, 1e-12, 1.0))
        need = ndtri(SURE) * np.minimum(share, 1.0) - _HAIR  # as many draws as `SURE` are enough
        each = ndtr((self.weight - need) / moves) + ndtr((-self.weight - need) / moves)
        return float(each.sum())

    def each(self, share: Floats, targets: NDArray[np.int64]) -> Floats:
        """Return what each of some targets adds to that at some shares, shape (target, share)."""
        weight = self.weight[targets, None]
        return weight * share / len(self.weight) if self.pairs is None else wrong_orders(weight, share)


def wrong_orders(apart: Floats, share: Floats) -> Floats:
    """Return the chance that a pair will be in the wrong order.

    Parameters
    ----------
    apart : array
        Mean of its difference over its standard deviation [1].
    share : array
        Share of that standard deviation that is left [1]; broadcasts with `apart`.
    """
    share = np.clip(share, 0.0, 1.0 - 1e-12)
    return np.asarray(2.0 * owens_t(np.abs(apart), share / np.sqrt(1.0 - share**2)))


def doubts_of(fit: Fit, goal: Goal) -> Doubts:
    """Return what is in doubt.

    Raises
    ------
    KeyError
        When a label is not known.
    ValueError
        When the aim is not one of `AIMS`, names what it does not count, or leaves nothing to count.
    """
    if goal.aim not in AIMS:
        raise ValueError(f"a day is for one of {', '.join(AIMS)}; got {goal.aim!r}")
    draws = draws_of(fit)
    seabeds = _in_order(draws, "seabed", goal.seabeds)
    if goal.aim == "features":
        return _features(draws, goal, seabeds)
    if goal.features:
        raise ValueError("a feature can be named only where the day is for features (--for features)")
    anchors = _in_order(draws, "anchor", goal.anchors)
    if goal.aim == "ranking":
        return _pairs(fit, draws, anchors, seabeds)
    values = draws.posterior["log_capacity"].sel(anchor=anchors, seabed=seabeds)
    return _bands(values.transpose("sample", "anchor", "seabed").to_numpy(), anchors, seabeds)


def _in_order(draws: Draws, dim: str, labels: Sequence[str]) -> list[str]:
    wanted = set(draws.labels(dim, list(labels)))
    return [label for label in draws.labels(dim) if not labels or label in wanted]


def _bands(values: Floats, rows: Sequence[str], seabeds: Sequence[str]) -> Doubts:
    flat = values.reshape(len(values), -1)
    low, high = np.quantile(flat, _BAND, axis=0)
    names = tuple((row, seabed) for row in rows for seabed in seabeds)
    return Doubts(flat, names, None, np.asarray(high - low))


def _features(draws: Draws, goal: Goal, seabeds: list[str]) -> Doubts:
    if goal.anchors:
        raise ValueError(
            "--anchor says whose bands count; where the day is for features, name them with --feature"
        )
    features = _in_order(draws, "feature", goal.features) if "feature" in draws.inputs.dims else []
    if not features:
        raise ValueError("the log has no feature (a column flag_NAME of anchors.csv): nothing to plan for")
    values = draws.posterior["feature_effect"].sel(feature=features, seabed=seabeds)
    return _bands(values.transpose("sample", "feature", "seabed").to_numpy(), features, seabeds)


def _pairs(fit: Fit, draws: Draws, anchors: list[str], seabeds: list[str]) -> Doubts:
    if len(anchors) < 2:
        raise ValueError("a ranking needs at least two anchors; name more with --anchor, or none for all")
    loads = log_measure(fit, "capacity").sel(anchor=anchors, seabed=seabeds)
    values = loads.transpose("sample", "anchor", "seabed").to_numpy()
    one, other = np.triu_indices(len(anchors), 1)
    more = np.stack([_share_of_wins(values[:, :, at], one, other) for at in range(len(seabeds))])
    number = len(seabeds)
    place = np.arange(number)[:, None]
    pairs = np.stack([(one * number + place).ravel(), (other * number + place).ravel()])
    names = tuple((anchor, seabed) for anchor in anchors for seabed in seabeds)
    # A pair of which all draws agree is no surer than one draw in as many could show.
    edge = 0.5 / draws.samples
    apart = np.abs(ndtri(np.clip(more.ravel(), edge, 1.0 - edge)))
    return Doubts(values.reshape(len(values), -1), names, pairs, apart)


def _share_of_wins(values: Floats, one: NDArray[np.int64], other: NDArray[np.int64]) -> Floats:
    """Return the share of draws in which the one anchor holds more than the other, shape (pair,)."""
    columns = np.ascontiguousarray(values.T)
    return np.array([(columns[a] > columns[b]).mean() for a, b in zip(one, other, strict=True)])

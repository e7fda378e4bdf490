"""Roots of many equations at once: a quadratic through three points where it can be trusted, else halving.

The steps are those of Chandrupatla (1997, *Adv. Eng. Softw.* 28:145), ended as scipy's element-wise solver
ends them; a test holds the two against each other, digit by digit.  Written out here because reading scipy's
solvers takes longer than most answers do with them.
"""

from collections.abc import Callable
from typing import Any, TypedDict

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Tolerances", "bracket", "root_between"]

Floats = NDArray[np.float64]
Function = Callable[..., Floats]

_SMALLEST, _LAST_DIGIT = float(np.finfo(float).tiny), float(np.finfo(float).eps)
_MOST_STEPS = 2046
"""Halvings from the widest to the narrowest pair of doubles."""


class Tolerances(TypedDict, total=False):
    """Absolute and relative tolerances of x and of the function's value [the units of each, 1]."""

    xatol: float
    xrtol: float
    fatol: float
    frtol: float


def root_between(
    function: Function,
    low: float | Floats,
    high: float | Floats,
    args: tuple[Any, ...] = (),
    tolerances: Tolerances | None = None,
) -> Floats:
    """Return where a function is nil between two ends.

    Parameters
    ----------
    function : callable
        Takes x and `args`, arrays of shape (n,); works element by element.
    low, high : array_like
        Ends at which it has opposite signs.
    args : tuple of arrays
        They broadcast with the ends.
    tolerances : Tolerances, optional
        To the last digits of x by default.

    Returns
    -------
    array
        Of the shape that all of these have together; NaN where the ends have one sign.
    """
    shape, (left, right, *others) = _flat(low, high, *args)
    unknown, allowed = np.full(left.shape, np.nan), tolerances or {}
    near = allowed.get("xatol", 4.0 * _SMALLEST), allowed.get("xrtol", 4.0 * _LAST_DIGIT)
    points = np.stack([left, right, unknown])  # the newest, one across the root from it, one before
    values = np.stack([function(left, *others), function(right, *others), unknown])
    small = allowed.get("fatol", _SMALLEST) + allowed.get("frtol", 0.0) * np.abs(values[:2]).min(axis=0)
    roots, at = unknown.copy(), np.arange(left.size)
    for _ in range(_MOST_STEPS):
        first = np.abs(values[0]) < np.abs(values[1])
        best, found = np.where(first, points[0], points[1]), np.abs(np.where(first, *values[:2])) <= small
        width, narrow = np.abs(points[1] - points[0]), np.abs(best) * near[1] + near[0]
        none = ~found & _without_root(points, values)
        best[none] = np.nan
        done = found | none | (width < narrow)
        roots[at[done]] = best[done]
        if done.all():
            break
        if done.any():
            more = ~done
            at, small, width, narrow = at[more], small[more], width[more], narrow[more]
            points, values, others = points[:, more], values[:, more], [each[more] for each in others]
        newest = points[0] + _share(points, values, 0.5 * narrow / width) * (points[1] - points[0])
        points, values = _with_newest(points, values, newest, function(newest, *others))
    return roots.reshape(shape)


def _flat(*values: ArrayLike) -> tuple[tuple[int, ...], list[NDArray[Any]]]:
    """Return the shape that arrays have together, and each as a row, the first two as floats."""
    together = np.broadcast_arrays(*values)
    flat = [np.ravel(each) for each in together]
    return together[0].shape, [flat[0].astype(float), flat[1].astype(float), *flat[2:]]


def _with_newest(points: Floats, values: Floats, newest: Floats, value: Floats) -> tuple[Floats, Floats]:
    """Return points and values with a new one first, so that the first two hold the root between them."""
    same = np.sign(value) == np.sign(values[0])
    return (
        np.stack([newest, np.where(same, points[1], points[0]), np.where(same, points[0], points[1])]),
        np.stack([value, np.where(same, values[1], values[0]), np.where(same, values[0], values[1])]),
    )


def _without_root(points: Floats, values: Floats) -> NDArray[np.bool_]:
    """Return where the first two points hold no root between them."""
    same = np.sign(values[0]) == np.sign(values[1])
    endless, unknown = ~np.isfinite(points[:2]).all(axis=0), np.isnan(values[:2]).all(axis=0)
    return np.asarray(same | endless | unknown)


def _share(points: Floats, values: Floats, margin: Floats) -> Floats:
    """Return how far from the first to the second point the next one lies, off both by a margin."""
    x1, x2, x3 = points
    f1, f2, f3 = values
    with np.errstate(divide="ignore", invalid="ignore"):
        across, height = (x1 - x2) / (x3 - x2), (f1 - f2) / (f3 - f2)
        bent = ((1.0 - np.sqrt(1.0 - across)) < height) & (height < np.sqrt(across))
        share = f1 / (f1 - f2) * f3 / (f3 - f2) - (x3 - x1) / (x2 - x1) * f1 / (f3 - f1) * f2 / (f2 - f3)
    return np.clip(np.where(bent, share, 0.5), margin, 1.0 - margin)


def bracket(
    function: Function, low: Floats, high: Floats, args: tuple[Any, ...] = ()
) -> tuple[Floats, Floats]:
    """Return ends between which a function changes its sign, looked for outwards from two ends.

    Parameters
    ----------
    function, args
        As for :func:`root_between`.
    low, high : array
        Where to begin; from either, steps are taken that double.

    Returns
    -------
    tuple of arrays
        The last two places looked at on the side where the sign changed, the narrower pair where it did on
        both; NaN where it never did.
    """
    shape, (left, right, *others) = _flat(low, high, *args)
    found = np.full((2, left.size), np.nan)
    at, reach, begun = np.arange(left.size), right - left, np.stack([left, right])
    outer = begun
    values = np.stack([function(left, *others), function(right, *others)])
    inner, held = begun[::-1], values[::-1]  # at first both sides look at the same pair
    while True:
        turned = values * held <= 0.0
        narrow = np.where(turned, np.abs(outer - inner), np.inf).argmin(axis=0)
        ended, each = turned.any(axis=0), np.arange(at.size)
        pair = np.stack([outer[narrow, each], inner[narrow, each]])
        found[:, at[ended]] = np.sort(pair[:, ended], axis=0)
        # A side whose end or value is no number has come to its end.
        go_on = ~ended & (np.isfinite(outer) & np.isfinite(values)).any(axis=0)
        if not go_on.any():
            return found[0].reshape(shape), found[1].reshape(shape)
        with np.errstate(over="ignore"):  # an end beyond all doubles is noticed above
            at, reach, begun = at[go_on], 2.0 * reach[go_on], begun[:, go_on]
        others = [one[go_on] for one in others]
        inner, held = outer[:, go_on], values[:, go_on]
        outer = np.stack([begun[1] - reach, begun[0] + reach])
        values = np.stack([function(end, *others) for end in outer])

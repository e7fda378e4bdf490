"""Roots of many equations at once, by scipy's solvers, which are read when they are first asked for.

Reading them takes half a second, and most answers solve nothing.
"""

from collections.abc import Callable
from typing import Any, TypedDict

import numpy as np
from numpy.typing import NDArray

__all__ = ["Tolerances", "bracket", "root_between"]

Floats = NDArray[np.float64]
Function = Callable[..., Floats]


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
        Takes x and `args`, arrays that broadcast; works element by element.
    low, high : array_like
        Ends at which it has opposite signs.
    args : tuple of arrays
    tolerances : Tolerances, optional
        To the last digits of x by default.

    Returns
    -------
    array
        NaN where the ends have one sign (:func:`scipy.optimize.elementwise.find_root`, Chandrupatla 1997).
    """
    from scipy.optimize.elementwise import find_root

    # The stubs have a private type of the same four names.
    solution = find_root(function, (low, high), args=args, tolerances=tolerances)  # type: ignore[arg-type]
    return np.asarray(solution.x, dtype=float)


def bracket(
    function: Function, low: Floats, high: Floats, args: tuple[Any, ...] = ()
) -> tuple[Floats, Floats]:
    """Return ends between which a function changes its sign, looked for outwards from two ends.

    Parameters
    ----------
    function, args
        As for :func:`root_between`.
    low, high : array
        Where to begin.
    """
    from scipy.optimize.elementwise import bracket_root

    ends = bracket_root(function, low, high, args=args).bracket
    return np.asarray(ends[0], dtype=float), np.asarray(ends[1], dtype=float)

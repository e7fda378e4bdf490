"""The likelihood of pulls that are each alone on a spot, for many draws: the sampler's own rows, compiled."""

from collections.abc import Callable
from functools import cache

import numba
import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood import interval_rows, kinds, spot_grid, spot_rows
from holdcast.capacity.likelihood.interval_rows import STUDENT_T
from holdcast.capacity.likelihood.kinds import UNREAD
from holdcast.capacity.pointwise.kernels import in_parts, key_of_sources

__all__ = ["log_inside_over_spots"]

Numbers = NDArray[np.float64]
_ROW = spot_rows.row_over_spots(STUDENT_T)
"""Not inside the loop's function: its cache would take the row for another one in each process."""


def log_inside_over_spots(low: Numbers, high: Numbers, kind: NDArray[np.int64], ratio: Numbers) -> Numbers:
    """Return the log density or probability of readings, summed over what their spots do.

    Parameters
    ----------
    low, high : arrays, shape (sample, test)
        Ends of each reading, in scales from the median.
    kind : array, shape (test,)
        See :mod:`holdcast.capacity.likelihood.kinds`.
    ratio : array, shape (sample, test)
        Spread of spots in scales.

    Returns
    -------
    array, shape (sample, test)
        Log density where exact, but for the scale; log probability elsewhere; 0 where nothing was read.
    """
    values, kernel = np.zeros(low.shape), _kernel(key_of_sources(interval_rows, kinds, spot_grid, spot_rows))
    columns = [np.ascontiguousarray(each, dtype=np.float64) for each in (low, high, ratio)]

    def fill(draws: slice) -> None:
        kernel(*(each[draws] for each in columns), kind.astype(np.int64), values[draws])

    in_parts(len(low), fill)
    return values


@cache
def _kernel(sources: str) -> Callable[..., None]:
    """Return the compiled loop over draws; the key of its sources is part of it, and so of its cache."""

    @numba.njit(error_model="numpy", cache=True, nogil=True)  # type: ignore[untyped-decorator]
    def kernel(low: Numbers, high: Numbers, ratio: Numbers, kind: NDArray[np.int64], values: Numbers) -> None:
        for draw in range(len(low) if len(sources) else 0):
            for test in range(len(kind)):
                if kind[test] != UNREAD:
                    at = draw, test
                    values[at] = _ROW(low[at], high[at], kind[test], ratio[at])[0]

    compiled: Callable[..., None] = kernel
    return compiled

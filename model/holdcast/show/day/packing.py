"""Tables of numbers as text that a script reads quickly."""

import base64
import string

import numpy as np
from numpy.typing import NDArray

__all__ = ["packed_levels"]

_DIGITS = np.array(list(string.ascii_uppercase + string.ascii_lowercase + string.digits + "+/"))
"""Sixty-four of them, in the order of base64 (RFC 4648)."""
_MOST_WHOLE, _MOST_RISE = 2**16 - 1, 2**12 - 1


def packed_levels(levels: NDArray[np.float64]) -> dict[str, object]:
    """Return levels that rise along the first axis as whole steps, each from the one below it.

    Parameters
    ----------
    levels : array, shape (level, …)

    Returns
    -------
    dict
        ``low`` and ``step``; ``first``: the lowest levels, 16 bits each, little end first, in base64;
        ``rises``: how many steps each level stands above the one below it, two digits of base64 each, level
        by level.  The error is at most half a step: the range of all over 131,070, or the largest rise over
        8,190.

    Raises
    ------
    ValueError
        When a level lies below the one before it.
    """
    flat = levels.reshape(len(levels), -1)
    if np.any(np.diff(flat, axis=0) < 0.0):
        raise ValueError("levels must rise")
    low, rise = float(flat.min()), float(np.diff(flat, axis=0).max(initial=0.0))
    # A rise between two rounded levels may be one step more than its own size.
    step = max((float(flat.max()) - low) / _MOST_WHOLE, rise / (_MOST_RISE - 1)) or 1.0
    whole = np.round((flat - low) / step).astype(np.int64)
    rises = np.diff(whole, axis=0).ravel()
    digits = np.stack([_DIGITS[rises // 64], _DIGITS[rises % 64]], axis=1)
    return {
        "low": float(f"{low:.12g}"),
        "step": float(f"{step:.12g}"),
        "first": base64.b64encode(whole[0].astype("<u2").tobytes()).decode("ascii"),
        "rises": "".join(digits.ravel()),
    }

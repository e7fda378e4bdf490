"""A smooth curve through points that rises or falls only where they do."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["monotone_cubic"]

Floats = NDArray[np.float64]


def monotone_cubic(x: Floats, y: Floats, at: Floats) -> Floats:
    """Return the curve through points at some places, shape of `at`.

    Parameters
    ----------
    x, y : arrays, shape (point,)
        Two points or more, x rising.
    at : array
        Places between the first and the last x.

    Notes
    -----
    Cubics between the points; the slope at a point is the harmonic mean of those of the chords beside it,
    weighted by their lengths, and 0 at a turn (Fritsch & Butland 1984, *SIAM J. Sci. Stat. Comput.* 5:300, as
    scipy's ``PchipInterpolator`` has it, which a test compares).
    """
    width, rise = np.diff(x), np.diff(y)
    chord = rise / width
    slope = _slopes(width, chord) if len(x) > 2 else np.repeat(chord, 2)
    left = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    step, w = at - x[left], width[left]
    s = step / w
    bend = slope[left] + slope[left + 1] - 2.0 * chord[left]
    return np.asarray(y[left] + step * (slope[left] + s * (chord[left] - slope[left] + (s - 1.0) * bend)))


def _slopes(width: Floats, chord: Floats) -> Floats:
    """Return the slope at each point."""
    before, after = chord[:-1], chord[1:]
    one_way = before * after > 0.0
    nearer, farther = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    safe_before, safe_after = np.where(one_way, before, 1.0), np.where(one_way, after, 1.0)
    mean = (nearer + farther) / (nearer / safe_before + farther / safe_after)
    inner = np.where(one_way, mean, 0.0)
    first = _end_slope(*width[:2].tolist(), *chord[:2].tolist())
    last = _end_slope(*width[:-3:-1].tolist(), *chord[:-3:-1].tolist())
    return np.concatenate([[first], inner, [last]])


def _end_slope(width: float, next_width: float, chord: float, next_chord: float) -> float:
    """Return the slope at an end, of the parabola through three points where that keeps the curve's way."""
    slope = ((2.0 * width + next_width) * chord - width * next_chord) / (width + next_width)
    if slope * chord <= 0.0:
        return 0.0
    if chord * next_chord <= 0.0 and abs(slope) > 3.0 * abs(chord):
        return 3.0 * chord
    return slope

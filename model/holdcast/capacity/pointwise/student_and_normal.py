r"""The distribution of Student's t of 4 degrees of freedom plus a normal, for many spreads at once.

Summed over a grid it takes some twenty terms, each with a root; answers ask for it a thousand times with the
same spreads.  So it is written as a polynomial once for each spread: with the variables

.. math:: u = m / \sqrt{m^2 + s^2}, \quad s^2 = 4 + 12 r^2

the share below *m* is 1/2 + u P(2u² - 1), a cubic in *u* where the normal's spread *r* is 0, and nearly one
elsewhere.  The coefficients of *P* are in turn polynomials of r² / (1 + r²), found by Chebyshev's
interpolation (Trefethen 2013, *Approximation Theory and Approximation Practice*, chapters 3 and 8, value from
memory).
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.polynomial.chebyshev import cheb2poly, chebpts1, chebvander
from numpy.typing import NDArray
from scipy.special import stdtr

from holdcast.capacity.likelihood.kinds import DEGREES_OF_FREEDOM

__all__ = ["StudentAndNormal", "shares_below", "student_and_normal"]

Floats = NDArray[np.float64]

_WIDENS = 12.0
"""What s² gains with r² (a choice: with it *P* needs the fewest terms)."""
_FAR = 8.0
"""Spread beyond which other polynomials hold, of 1 / r² (a choice)."""
_TOP = _FAR**2 / (1.0 + _FAR**2)
_TERMS, _TERMS_OF_SPREAD = 17, 28
_AT_ONCE = 256
"""Spreads whose coefficients are worked out at once: so few that no thread has to wait for another."""
_IN_CACHE = 8192
"""Margins worked on at once: they stay in the processor's nearest cache."""
_MOST_LAWS = 20
"""Kept at a time: each takes half a megabyte for 4,000 draws (a choice)."""
_FARTHEST = 1e9
_REACH, _WIDEST_STEP, _SMOOTH = 6.5, 0.5, 0.375
"""Of the grid over the normal: reach and widest step in standard deviations, and the step times r."""


@dataclass(frozen=True)
class StudentAndNormal:
    """t + r z for some spreads *r* of the normal *z*.

    Attributes
    ----------
    spread : array, shape (sample,), r [1].
    square : array, shape (sample,), s² [1].
    terms : array, shape (term, sample), of the powers of 2u² - 1.
    plain : array of int, positions of spreads of 0, where the share is known without polynomials.
    """

    spread: Floats
    square: Floats
    terms: Floats
    plain: NDArray[np.intp]

    def below(self, margin: Floats) -> Floats:
        """Return the share below each margin, shape (…, sample), that of the margins."""
        rows = np.clip(margin, -_FARTHEST, _FARTHEST).reshape(-1, len(self.spread))
        if len(self.plain) == len(self.spread):
            return np.asarray(stdtr(DEGREES_OF_FREEDOM, margin))
        share = np.empty(rows.shape)
        together = max(1, _IN_CACHE // max(1, len(self.spread)))
        for first in range(0, len(rows), together):
            here = slice(first, first + together)
            self._write_shares(share[here], rows[here])
        if len(self.plain):
            share[:, self.plain] = stdtr(DEGREES_OF_FREEDOM, rows[:, self.plain])
        return np.clip(share, 0.0, 1.0, out=share).reshape(margin.shape)

    def _write_shares(self, share: Floats, margin: Floats) -> None:
        square = margin * margin
        total = square + self.square
        square -= self.square
        square /= total
        share[:] = self.terms[-1]
        for term in self.terms[-2::-1]:
            share *= square
            share += term
        share *= margin
        share /= np.sqrt(total)
        share += 0.5

    def of_draws(self, which: slice) -> "StudentAndNormal":
        """Return the same for some of the spreads."""
        spread, terms = self.spread[which], np.ascontiguousarray(self.terms[:, which])
        return StudentAndNormal(spread, self.square[which], terms, np.flatnonzero(spread == 0.0))


def student_and_normal(spread: Floats) -> StudentAndNormal:
    """Return the distribution of t + r z, t Student's t of 4 degrees of freedom and z a standard normal.

    Parameters
    ----------
    spread : array, shape (sample,)
        r, not negative [1].

    Returns
    -------
    StudentAndNormal
        Shares are off by at most 5e-8 (computed, against sums of 20,000 terms).
    """
    spread = np.asarray(spread, dtype=float)
    terms = np.zeros((_TERMS, len(spread)))
    for far in (False, True):
        those = np.flatnonzero(spread > _FAR if far else (spread > 0.0) & (spread <= _FAR))
        if len(those):
            polynomials = chebvander(_place_of(spread[those], far), _TERMS_OF_SPREAD - 1).T
            for first in range(0, len(those), _AT_ONCE):
                here = slice(first, first + _AT_ONCE)
                terms[:, those[here]] = _coefficients(far) @ polynomials[:, here]
    return StudentAndNormal(spread, 4.0 + _WIDENS * spread**2, terms, np.flatnonzero(spread == 0.0))


def shares_below(margin: Floats, spread: Floats) -> Floats:
    """Return the share below margins (row, sample) of t + r z, with spreads r of their own, of that shape.

    Rows of the same spreads, such as pulls of one seabed, share their polynomials.
    """
    laws: dict[bytes, StudentAndNormal] = {}
    shares = np.empty(margin.shape)
    for share, here, spreads in zip(shares, margin, spread, strict=True):
        key = spreads.tobytes()
        if key not in laws:
            if len(laws) >= _MOST_LAWS:
                laws.clear()
            laws[key] = student_and_normal(spreads)
        share[:] = laws[key].below(here)
    return shares


def _place_of(spread: Floats, far: bool) -> Floats:
    """Return where spreads stand between -1 and 1, on the near side of `_FAR` or beyond."""
    share = (_FAR / spread) ** 2 if far else spread**2 / (1.0 + spread**2) / _TOP
    return 2.0 * share - 1.0


def _spread_at(place: Floats, far: bool) -> Floats:
    """Return the spreads that stand at places between -1 and 1."""
    share = 0.5 * (1.0 + place)
    return _FAR / np.sqrt(share) if far else np.sqrt(_TOP * share / (1.0 - _TOP * share))


@cache
def _coefficients(far: bool) -> Floats:
    """Return coefficients of powers of 2u² - 1 and of Chebyshev's polynomials of the spread, (term, term)."""
    u = np.sqrt(0.5 * (1.0 + chebpts1(_TERMS)))
    spread = _spread_at(chebpts1(_TERMS_OF_SPREAD), far)
    margin = (u / np.sqrt(1.0 - u * u))[:, None] * np.sqrt(4.0 + _WIDENS * spread**2)
    values = (_summed(margin, spread) - 0.5) / u[:, None]
    by_both = _to_chebyshev(_TERMS) @ values @ _to_chebyshev(_TERMS_OF_SPREAD).T
    return _powers(_TERMS).T @ by_both


def _to_chebyshev(terms: int) -> Floats:
    """Return the matrix from values at the roots to coefficients of Chebyshev's polynomials."""
    return np.asarray(np.linalg.inv(chebvander(chebpts1(terms), terms - 1)), dtype=np.float64)


def _powers(terms: int) -> Floats:
    """Return the coefficients of powers of each of Chebyshev's polynomials, (polynomial, power)."""
    plain = [cheb2poly(row) for row in np.eye(terms)]
    return np.stack([np.pad(each, (0, terms - len(each))) for each in plain])


def _summed(margin: Floats, spread: Floats) -> Floats:
    """Return the shares below margins (row, sample) by the even grid, each spread with a step of its own.

    That rule converges geometrically for smooth functions (Trefethen & Weideman 2014, *SIAM Rev.* 56:385,
    value from memory), and t is smooth within 2 / r of the real axis.
    """
    share = np.empty(margin.shape)
    for place, r in enumerate(spread.tolist()):
        step = min(_WIDEST_STEP, _SMOOTH / r)
        z = step * np.arange(-np.ceil(_REACH / step), np.ceil(_REACH / step) + 1.0)
        weight = np.exp(-0.5 * z**2)
        share[:, place] = stdtr(DEGREES_OF_FREEDOM, margin[:, place, None] + r * z) @ (weight / weight.sum())
    return share

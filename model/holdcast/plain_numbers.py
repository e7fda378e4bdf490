"""Numbers in sentences: a few significant digits, never an exponent."""

import math

__all__ = ["significant"]


def significant(value: float, digits: int = 3) -> str:
    """Return a number with that many significant digits, written out: 4460.2 reads "4,460".

    Parameters
    ----------
    value : float
        Infinities and NaN keep their names; a zero has no sign.
    digits : int
        At least 1.
    """
    rounded = float(f"{value:.{digits - 1}e}")
    if not math.isfinite(rounded) or rounded == 0.0:
        return f"{rounded:zg}"
    decimals = max(digits - 1 - math.floor(math.log10(abs(rounded))), 0)
    text = f"{rounded:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if decimals else text

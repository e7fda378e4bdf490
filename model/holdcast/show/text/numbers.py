"""Numbers as a reader sees them: units for the screen, and no more digits than a test pull can carry."""

import math
from collections.abc import Sequence

from holdcast.physics.units import FACTORS

__all__ = [
    "align_decimals",
    "format_chance",
    "format_efficiency",
    "format_load",
    "format_share",
    "load_unit",
    "on_screen",
    "to_screen_load",
]

# What a quantity in SI reads as on a US screen, and how much of the SI unit that is.
_US = {
    "N": ("lbf", FACTORS["force"]["lbf"]),
    "kg": ("lb", FACTORS["mass"]["lb"]),
    "m": ("ft", FACTORS["length"]["ft"]),
    "m²": ("in²", FACTORS["area"]["in2"]),
    "mm": ("in", FACTORS["millimetre size"]["in"]),
    "m/s": ("kt", FACTORS["speed"]["kt"]),
    "kPa": ("psf", FACTORS["strength"]["psf"]),
}


def on_screen(unit: str, units: str) -> tuple[str, float]:
    """Return the unit in which a quantity is shown, and how many of its own unit that is.

    Parameters
    ----------
    unit : str
        The quantity's own, in SI: "N", "kg", "m", "m²", "mm", "m/s", "kPa"; any other stays as it is.
    units : {"si", "us"}

    Raises
    ------
    ValueError
        For any other ``units``.
    """
    if _known(units) == "us":
        return _US.get(unit, (unit, 1.0))
    return ("kN", FACTORS["force"]["kn"]) if unit == "N" else (unit, 1.0)


def _known(units: str) -> str:
    if units not in ("si", "us"):
        raise ValueError(f"units must be 'si' or 'us', got {units!r}")
    return units


def load_unit(units: str) -> str:
    """Return the unit in which loads are shown: ``kN`` for ``si``, ``lbf`` for ``us``.

    Raises
    ------
    ValueError
        For any other ``units``.
    """
    return on_screen("N", units)[0]


def to_screen_load(newtons: float, units: str) -> float:
    """Turn a load in newtons into kN (``si``) or lbf (``us``).

    Raises
    ------
    ValueError
        For any other ``units``.
    """
    return newtons / on_screen("N", units)[1]


def _round_significant(value: float, digits: int) -> float:
    return float(f"{value:.{digits - 1}e}")


def _checked(value: float, what: str) -> float:
    if not math.isfinite(value) or value < 0:
        raise ValueError(f"{what} must be a finite number, 0 or more, got {value}")
    return value


def format_load(newtons: float, units: str = "si") -> str:
    """Return a load without its unit, rounded to what a test pull can tell.

    Three significant digits from 1 kN, two decimals from 0.1 kN and two significant digits below that; whole
    pounds with three significant digits, one decimal below 10 lbf. Common practice, no source: pulls of one
    day scatter by a tenth and more, so a further digit would be noise.

    Parameters
    ----------
    newtons : float
        Load [N], 0 or more.
    units : {"si", "us"}

    Raises
    ------
    ValueError
        When the load is negative or not finite, or the units are unknown.
    """
    value = to_screen_load(_checked(newtons, "a load [N]"), units)
    value = _round_significant(value, 3)
    if units == "us":
        return f"{value:.0f}" if value >= 10 else f"{value:.1f}"
    if 0 < value < 0.1:
        value = _round_significant(value, 2)
        return f"{value:.{1 - math.floor(math.log10(value))}f}"
    return f"{value:.{2 if value < 10 else 1 if value < 100 else 0}f}"


def format_efficiency(ratio: float) -> str:
    """Return a holding efficiency (capacity over weight, no unit): one decimal below 10, none above.

    Raises
    ------
    ValueError
        When the ratio is negative or not finite.
    """
    value = _round_significant(_checked(ratio, "an efficiency"), 3)
    return f"{value:.1f}" if round(value, 1) < 10 else f"{value:.0f}"


def format_share(share: float) -> str:
    """Return a share or probability between 0 and 1 as whole percent; "<1%" and ">99%" next to the ends.

    Raises
    ------
    ValueError
        When the share is not between 0 and 1.
    """
    if not 0 <= share <= 1:
        raise ValueError(f"a share must be between 0 and 1, got {share}")
    if 0 < share < 0.01:
        return "<1%"
    return ">99%" if 0.99 < share < 1 else f"{100 * share:.0f}%"


def format_chance(share: float) -> str:
    """Return a chance counted from draws as whole percent: none or all of them is still no certainty.

    Raises
    ------
    ValueError
        When the chance is not between 0 and 1.
    """
    return "<1%" if share == 0 else ">99%" if share == 1 else format_share(share)


def align_decimals(texts: Sequence[str], *, digit: str = " ", point: str = " ") -> list[str]:
    """Fill numbers on the right so that their decimal points stand below each other when set to the right.

    Parameters
    ----------
    texts : sequence of str
        Numbers as text; a text without a point counts as a whole number.
    digit, point : str
        What stands for a missing digit and a missing point: spaces in a terminal, the figure space U+2007 and
        the punctuation space U+2008 on a page.
    """
    decimals = [len(text.partition(".")[2]) for text in texts]
    most = max(decimals, default=0)
    return [
        text + (point if most and not count else "") + digit * (most - count)
        for text, count in zip(texts, decimals, strict=True)
    ]

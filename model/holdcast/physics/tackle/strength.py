"""Strength of ground tackle: chain and shackles by size and grade, the weakest link, and what goes together.

Signatures::

    chain_strength(grade, size_mm) -> Link
    shackle_strength(size_in) -> Link
    rode_links(grade="", chain_mm=nan, shackle_in=nan) -> tuple of Link
    weakest_link(links) -> Link
    overload(load_n, links) -> str                     "" when every link is within its working load
    pin_fit(shackle_in, chain_mm) -> "fits" | "try it" | "does not fit"
    goes_together(shackle_in, grade, chain_mm) -> str  a sentence

A chain's bar of a whole number of sixteenths of an inch is inch chain, any other is metric.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from holdcast.physics.errors import PhysicsError, known_word, not_negative, within
from holdcast.physics.tables import read_table
from holdcast.physics.units import MILLIMETRES_PER_INCH, NEWTONS_PER_LBF

__all__ = [
    "Link",
    "chain_strength",
    "goes_together",
    "overload",
    "pin_fit",
    "rode_links",
    "shackle_strength",
    "weakest_link",
]

BREAKING_OVER_WORKING: Mapping[str, float] = {"30": 4.0, "40": 4.0, "43": 3.0, "70": 4.0}
"""Breaking over working load of chain by grade [1]: grades 30 and 43 of inch chain read in a supplier's
chart; grade 70, and 30 and 40 of metric chain, values from memory (DIN 766)."""
SHACKLE_BREAKING_OVER_WORKING = 5.0
"""Design factor of forged shackles [1]: Fed. Spec RR-C-271D; ASME B30.26 (read)."""
CHAIN_SIZES_MM = (4.0, 32.0)
"""Bars that the grade's rule is used for [mm]; a choice, wider than the chain of small craft."""
SHACKLE_SIZE_TOLERANCE = 0.06
"""How far a shackle's size may be from a size of the table and still be it [1]: 10 mm is sold as 3/8 in, 12
mm as 1/2 in (common practice, no source)."""


@dataclass(frozen=True)
class Link:
    """One part of the tackle: what it is, its working load and its breaking load [N]."""

    name: str
    working_n: float
    breaking_n: float


def _sixteenths(size_mm: float) -> Fraction | None:
    """Return a bar's size in inches when it is a whole number of sixteenths, else None."""
    number = round(size_mm / MILLIMETRES_PER_INCH * 16)
    is_inch = math.isclose(number * MILLIMETRES_PER_INCH, 16 * size_mm, rel_tol=1e-3)
    return Fraction(number, 16) if is_inch else None


def _chain_row(size_mm: float) -> Mapping[str, str] | None:
    """Return the table's row of a chain; None when no table has its size."""
    inches = _sixteenths(size_mm)
    if inches is not None:
        return next((row for row in read_table("chain_us") if Fraction(row["size_in"]) == inches), None)
    # 10 mm is made to two standards; the first row, ISO, speaks for it.
    return next((row for row in read_table("chain_metric") if float(row["size_mm"]) == size_mm), None)


def _breaking_n(row: Mapping[str, str], grade: str) -> float:
    """Return the breaking load that a row of a table gives a grade [N]; NaN when it has none."""
    if working_lbf := row.get(f"working_{grade}_lbf"):
        return float(working_lbf) * NEWTONS_PER_LBF * BREAKING_OVER_WORKING[grade]
    return float(row.get(f"breaking_{grade}_kn") or math.nan) * 1000.0


def chain_strength(grade: str | int, size_mm: float) -> Link:
    r"""Return working and breaking load of new chain.

    .. math:: F = 2 \, \tfrac{\pi}{4} d^2 \cdot 10 \, g

    where no table has the size in that grade.

    Parameters
    ----------
    grade : str or int
        g: 30, 40, 43 or 70.
    size_mm : float
        d, bar diameter [mm]: 4 to 32.

    Raises
    ------
    PhysicsError
        When the grade is unknown or the size outside these limits.

    Notes
    -----
    data/tables/chain_us.csv (NACM 2003 / ASTM A413, read) and chain_metric.csv (DIN 766 / ISO 4565, read).
    The rule, in N and mm: a chain supplier's page on grades (read); it gives 6 mm chain 13% more than the
    table.  Worn or rusted chain is weaker.
    """
    word = known_word("grade", str(grade), BREAKING_OVER_WORKING)
    within("chain_mm", size_mm, *CHAIN_SIZES_MM, "mm")
    inches = _sixteenths(size_mm)
    name = f"{size_mm:g} mm chain" if inches is None else f"{inches} in chain"
    row = _chain_row(size_mm)
    printed = math.nan if row is None else _breaking_n(row, word)
    breaking = 2.0 * math.pi / 4.0 * size_mm**2 * 10.0 * float(word) if math.isnan(printed) else printed
    return Link(f"{name} grade {word}", breaking / BREAKING_OVER_WORKING[word], breaking)


def _shackle_row(size_in: float) -> Mapping[str, str]:
    rows = read_table("shackles")
    nearest = min(rows, key=lambda row: abs(float(Fraction(row["size_in"])) - size_in))
    nearest_in = float(Fraction(nearest["size_in"]))
    if not abs(size_in - nearest_in) <= SHACKLE_SIZE_TOLERANCE * nearest_in:
        sizes = ", ".join(row["size_in"] for row in rows)
        raise PhysicsError(
            f"shackle_in is {size_in:.3g}; it must be one of {sizes} in; the nearest is {nearest['size_in']}"
        )
    return nearest


def shackle_strength(size_in: float) -> Link:
    """Return working and breaking load of a forged carbon shackle, grade A, pulled in line.

    Parameters
    ----------
    size_in : float
        Diameter of the body [in]; a metric one counts as the nearest size of the table.

    Raises
    ------
    PhysicsError
        When the size is not near one of the table.

    Notes
    -----
    data/tables/shackles.csv, each row with its mark; breaking load by the design factor of 5 (read).
    """
    row = _shackle_row(size_in)
    working = float(row["working_lbf"]) * NEWTONS_PER_LBF
    return Link(f"{row['size_in']} in shackle", working, working * SHACKLE_BREAKING_OVER_WORKING)


def rode_links(
    grade: str | int = "", chain_mm: float = math.nan, shackle_in: float = math.nan
) -> tuple[Link, ...]:
    """Return the links of a rode whose size is known: chain, shackle, both or none.

    Parameters
    ----------
    grade : str or int
        Grade of the chain; blank when unknown: then the chain is left out.
    chain_mm, shackle_in : float
        Sizes; NaN when unknown.

    Raises
    ------
    PhysicsError
        When a size or grade is not known of.
    """
    chain = () if str(grade) == "" or math.isnan(chain_mm) else (chain_strength(grade, chain_mm),)
    return chain if math.isnan(shackle_in) else (*chain, shackle_strength(shackle_in))


def weakest_link(links: Sequence[Link]) -> Link:
    """Return the link with the least working load; the first of equals.

    Raises
    ------
    PhysicsError
        When there is no link.
    """
    if not links:
        raise PhysicsError("links is empty; it must hold at least one link")
    return min(links, key=lambda link: link.working_n)


def overload(load_n: float, links: Iterable[Link]) -> str:
    """Return a sentence naming every link that a load takes beyond its working load, else "".

    Parameters
    ----------
    load_n : float
        Highest load the rode saw, or an anchor's 95% capacity [N].
    links : iterable of Link
        From :func:`chain_strength` and :func:`shackle_strength`.

    Raises
    ------
    PhysicsError
        When the load is negative or not finite.
    """
    not_negative("load_n", load_n, "N")
    beyond = sorted((link for link in links if load_n > link.working_n), key=lambda link: link.working_n)
    if not beyond:
        return ""
    parts = [
        f"{link.name} (working load {link.working_n:.0f} N, breaking load {link.breaking_n:.0f} N)"
        for link in beyond
    ]
    broken = [link.name for link in beyond if load_n > link.breaking_n]
    worst = f"; it is beyond the breaking load of {' and of '.join(broken)}" if broken else ""
    return f"A load of {load_n:.0f} N is beyond the working load of {' and of '.join(parts)}{worst}."


def pin_fit(shackle_in: float, chain_mm: float) -> str:
    """Return whether the shackle's pin passes through a common link of the chain.

    Returns
    -------
    str
        ``fits``, ``try it`` (links may be narrower or wider than the pin, or no table has this chain) or
        ``does not fit``.

    Raises
    ------
    PhysicsError
        When the shackle's size is not in the table.

    Notes
    -----
    Pin diameters and inside widths: values from memory in the tables; the common pairing of a 3/8 in shackle
    with 5/16 in chain fits (common practice, no source).
    """
    pin = float(Fraction(_shackle_row(shackle_in)["pin_in"])) * MILLIMETRES_PER_INCH
    row = _chain_row(chain_mm)
    if row is None:
        return "try it"
    if "inside_in" in row:
        least = most = float(row["inside_in"]) * MILLIMETRES_PER_INCH
    else:
        least, most = float(row["inside_least_mm"]), float(row["inside_most_mm"])
    if pin <= least:
        return "fits"
    return "try it" if pin <= most else "does not fit"


def goes_together(shackle_in: float, grade: str | int, chain_mm: float) -> str:
    """Return one sentence: does the pin pass the chain, and which of the two may be worked least.

    Raises
    ------
    PhysicsError
        When a size or grade is not known of.
    """
    chain = chain_strength(grade, chain_mm)
    shackle = shackle_strength(shackle_in)
    fit = {
        "fits": "The pin of a {s} fits {c}",
        "try it": "The pin of a {s} may or may not pass {c}: try it",
        "does not fit": "The pin of a {s} does not fit {c}",
    }[pin_fit(shackle_in, chain_mm)]
    weak = weakest_link([shackle, chain])
    first = min((shackle, chain), key=lambda link: link.breaking_n)
    # Shackles are made with a larger reserve than chain, so the link to be worked least may break last.
    breaks = "" if first is weak else f", though the {first.name} breaks first"
    return f"{fit.format(s=shackle.name, c=chain.name)}; the {weak.name} has the lower working load{breaks}."

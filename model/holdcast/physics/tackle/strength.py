"""Strength of ground tackle: chain and shackles by size and grade, the weakest link, and what goes together.

Signatures::

    chain_strength(grade, *, size_in=None, size_mm=None) -> Link
    shackle_strength(size_in) -> Link
    rode_links(grade, *, chain_in=None, chain_mm=None, shackle_in=None) -> tuple of Link
    weakest_link(links) -> Link
    overload(load_n, links) -> str                     "" when every link is within its working load
    pin_fit(shackle_in, *, chain_in=None, chain_mm=None) -> "fits" | "try it" | "does not fit"
    goes_together(shackle_in, grade, *, chain_in=None, chain_mm=None) -> str      a sentence

Sizes in inches are words ("5/16", "3/8") or decimals.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from holdcast.physics.errors import PhysicsError, known_word, not_negative
from holdcast.physics.tables import read_table
from holdcast.physics.tackle.wind import NEWTONS_PER_LBF

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

US_BREAKING_OVER_WORKING: Mapping[str, float] = {"30": 4.0, "43": 3.0, "70": 4.0}
"""Breaking over working load [1]: grades 30 and 43 read in a supplier's chart; 70 value from memory."""
METRIC_BREAKING_OVER_WORKING = 4.0
"""Breaking over working load of metric lifting-type chain [1] (value from memory: DIN 766)."""
SHACKLE_BREAKING_OVER_WORKING = 5.0
"""Design factor of forged shackles [1]: Fed. Spec RR-C-271D; ASME B30.26 (read)."""
MILLIMETRES_PER_INCH = 25.4


@dataclass(frozen=True)
class Link:
    """One part of the tackle: what it is, its working load and its breaking load [N]."""

    name: str
    working_n: float
    breaking_n: float


def _inches(argument: str, size: str | float) -> Fraction:
    """Return a size in inches as a fraction of sixty-fourths; raise when it is none."""
    try:
        exact = Fraction(str(size).strip().rstrip('"').strip())
    except (ValueError, ZeroDivisionError):
        raise PhysicsError(f"{argument} is '{size}'; it must be a size in inches such as 5/16") from None
    return Fraction(round(exact * 64), 64)


def _row_by_inches(table: str, argument: str, size: str | float) -> Mapping[str, str]:
    rows = {Fraction(row["size_in"]): row for row in read_table(table)}
    wanted = _inches(argument, size)
    if wanted not in rows:
        nearest = min(rows, key=lambda known: abs(known - wanted))
        raise PhysicsError(
            f"{argument} is '{size}'; it must be one of {', '.join(str(known) for known in rows)} in; "
            f"the nearest is {nearest}"
        )
    return rows[wanted]


def _row_by_millimetres(size_mm: float) -> Mapping[str, str]:
    # 10 mm is made to two standards; the first row, ISO, speaks for it.
    rows = {float(row["size_mm"]): row for row in reversed(read_table("chain_metric"))}
    if float(size_mm) not in rows:
        known = sorted(rows)
        nearest = min(known, key=lambda size: abs(size - size_mm))
        raise PhysicsError(
            f"chain_mm is {size_mm:g}; it must be one of {', '.join(f'{size:g}' for size in known)} mm; "
            f"the nearest is {nearest:g}"
        )
    return rows[float(size_mm)]


def _one_size(size_in: str | float | None, size_mm: float | None) -> None:
    if (size_in is None) == (size_mm is None):
        raise PhysicsError("chain_in and chain_mm are both given or both missing; exactly one is allowed")


def chain_strength(
    grade: str | int, *, size_in: str | float | None = None, size_mm: float | None = None
) -> Link:
    """Return working and breaking load of new chain.

    Parameters
    ----------
    grade : str or int
        30, 43 or 70 in inch sizes; 30 or 40 in metric ones.
    size_in, size_mm : str or float
        Bar size; exactly one of them.

    Raises
    ------
    PhysicsError
        When size or grade is not in the table, or both or neither size is given.

    Notes
    -----
    data/tables/chain_us.csv (NACM 2003 / ASTM A413, read) and chain_metric.csv (DIN 766 / ISO 4565, read).
    Metric working load is breaking over 4 (value from memory).  Worn or rusted chain is weaker.
    """
    _one_size(size_in, size_mm)
    if size_in is not None:
        row = _row_by_inches("chain_us", "chain_in", size_in)
        word = known_word("grade", str(grade), US_BREAKING_OVER_WORKING)
        working = float(row[f"working_{word}_lbf"]) * NEWTONS_PER_LBF
        return Link(
            f"{row['size_in']} in chain grade {word}", working, working * US_BREAKING_OVER_WORKING[word]
        )
    row = _row_by_millimetres(float(size_mm or 0.0))
    known = [word for word in ("30", "40") if row[f"breaking_{word}_kn"]]
    word = known_word(f"grade of {row['size_mm']} mm chain", str(grade), known)
    breaking = float(row[f"breaking_{word}_kn"]) * 1000.0
    return Link(f"{row['size_mm']} mm chain grade {word}", breaking / METRIC_BREAKING_OVER_WORKING, breaking)


def shackle_strength(size_in: str | float) -> Link:
    """Return working and breaking load of a forged carbon shackle, grade A, pulled in line.

    Raises
    ------
    PhysicsError
        When the size is not in the table.

    Notes
    -----
    data/tables/shackles.csv, each row with its mark; breaking load by the design factor of 5 (read).
    """
    row = _row_by_inches("shackles", "shackle_in", size_in)
    working = float(row["working_lbf"]) * NEWTONS_PER_LBF
    return Link(f"{row['size_in']} in shackle", working, working * SHACKLE_BREAKING_OVER_WORKING)


def rode_links(
    grade: str | int,
    *,
    chain_in: str | float | None = None,
    chain_mm: float | None = None,
    shackle_in: str | float | None = None,
) -> tuple[Link, ...]:
    """Return the links of a rode whose size is known: chain, shackle, both or none.

    Parameters
    ----------
    grade : str or int
        Grade of the chain; blank when unknown: then the chain is left out.
    chain_in, chain_mm, shackle_in : str or float
        Sizes; None when unknown.

    Raises
    ------
    PhysicsError
        When a size or grade is not in the tables, or the chain has two sizes.
    """
    chain_known = str(grade) != "" and not (chain_in is None and chain_mm is None)
    chain = (chain_strength(grade, size_in=chain_in, size_mm=chain_mm),) if chain_known else ()
    return chain if shackle_in is None else (*chain, shackle_strength(shackle_in))


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


def pin_fit(
    shackle_in: str | float, *, chain_in: str | float | None = None, chain_mm: float | None = None
) -> str:
    """Return whether the shackle's pin passes through a common link of the chain.

    Returns
    -------
    str
        ``fits``, ``try it`` (standards let links be narrower or wider than the pin) or ``does not fit``.

    Raises
    ------
    PhysicsError
        When a size is not in the tables, or both or neither chain size is given.

    Notes
    -----
    Pin diameters and inside widths: values from memory in the tables; the common pairing of a 3/8 in shackle
    with 5/16 in chain fits (common practice, no source).
    """
    _one_size(chain_in, chain_mm)
    pin = (
        float(Fraction(_row_by_inches("shackles", "shackle_in", shackle_in)["pin_in"])) * MILLIMETRES_PER_INCH
    )
    if chain_in is not None:
        inside = float(_row_by_inches("chain_us", "chain_in", chain_in)["inside_in"]) * MILLIMETRES_PER_INCH
        least, most = inside, inside
    else:
        row = _row_by_millimetres(float(chain_mm or 0.0))
        least, most = float(row["inside_least_mm"]), float(row["inside_most_mm"])
    if pin <= least:
        return "fits"
    return "try it" if pin <= most else "does not fit"


def goes_together(
    shackle_in: str | float,
    grade: str | int,
    *,
    chain_in: str | float | None = None,
    chain_mm: float | None = None,
) -> str:
    """Return one sentence: does the pin pass the chain, and which of the two may be worked least.

    Raises
    ------
    PhysicsError
        When a size or grade is not in the tables, or both or neither chain size is given.
    """
    chain = chain_strength(grade, size_in=chain_in, size_mm=chain_mm)
    shackle = shackle_strength(shackle_in)
    fit = {
        "fits": "The pin of a {s} fits {c}",
        "try it": "The pin of a {s} may or may not pass {c}: try it",
        "does not fit": "The pin of a {s} does not fit {c}",
    }[pin_fit(shackle_in, chain_in=chain_in, chain_mm=chain_mm)]
    weak = weakest_link([shackle, chain])
    first = min((shackle, chain), key=lambda link: link.breaking_n)
    # Shackles are made with a larger reserve than chain, so the link to be worked least may break last.
    breaks = "" if first is weak else f", though the {first.name} breaks first"
    return f"{fit.format(s=shackle.name, c=chain.name)}; the {weak.name} has the lower working load{breaks}."

"""Slips that a whole column may have: ranges, limits and estimates in a cell, dates of one's country."""

import re
from collections.abc import Iterable, Sequence
from datetime import date

__all__ = [
    "advice_on_slip",
    "day_order",
    "iso_date",
    "kind_of_slip",
    "plural_of_slip",
]

_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_KINDS = {
    "range": re.compile(rf"{_NUMBER}\s*(?:-|–|—|\.\.|…|to)\s*{_NUMBER}"),
    "at least": re.compile(rf"(?:>=?|≥|over|above|at least|min\.?)\s*{_NUMBER}|{_NUMBER}\s*\+"),
    "at most": re.compile(rf"(?:<=?|≤|under|below|at most|max\.?)\s*{_NUMBER}"),
    "about": re.compile(rf"(?:~|≈|±|about|approx\.?|circa|ca?\.?)\s*{_NUMBER}"),
}
_PLURALS = {
    "range": "ranges",
    "at least": "cells that say at least",
    "at most": "cells that say at most",
    "about": "cells that say about",
}
_LOADS = ("held_n", "released_n")
_OF_LOADS = {
    "range": "Write the lower number in held, what it held, and the higher in released, where it let go.",
    "at least": "It held that much: write the number in held, leave released blank, and say in stopped_by "
    "why the pull ended.",
    "at most": "It let go below that: write the number in released, and in held only what it did hold.",
}
_OF_MEASURES = {
    "range": "Write one number, the likeliest; note has room for the rest.",
    "at least": "Write the number alone; note has room for the rest.",
    "at most": "Write the number alone; note has room for the rest.",
}
_LOCAL_DATE = re.compile(r"([0-9]{1,2})([./-])([0-9]{1,2})\2((?:19|20)?[0-9]{2})")


def kind_of_slip(text: str) -> str:
    """Return what a cell says beside its number: range, at least, at most, about; empty for none of them."""
    return next((kind for kind, pattern in _KINDS.items() if pattern.fullmatch(text.casefold())), "")


def plural_of_slip(kind: str) -> str:
    """Return how many cells of a kind are spoken of."""
    return _PLURALS[kind]


def advice_on_slip(kind: str, column: str) -> str:
    """Return how to write such a cell in a column, by its stored name.

    Raises
    ------
    KeyError
        When there is no such kind.
    """
    if kind == "about":
        return "Write the number alone; a load cell's error goes in instruments.csv, the rest in note."
    return (_OF_LOADS if column in _LOADS else _OF_MEASURES)[kind]


def _parts(text: str) -> tuple[int, int, int] | None:
    """Return first, second and year of a date such as 14/06/2026; None when the text is none."""
    match = _LOCAL_DATE.fullmatch(text)
    if match is None:
        return None
    year = int(match[4])
    return int(match[1]), int(match[3]), year if year >= 100 else 2000 + year


def day_order(texts: Iterable[str]) -> str:
    """Return which comes first in a column's dates, day or month; empty when they do not tell or disagree."""
    dates = [parts for text in texts if (parts := _parts(text))]
    orders = {"day" for first, _, _ in dates if first > 12}
    orders |= {"month" for _, second, _ in dates if second > 12}
    return orders.pop() if len(orders) == 1 else ""


def iso_date(text: str, orders: Sequence[str] = ("day", "month")) -> str:
    """Return a date such as 14/06/2026 as 2026-06-14, or as "2026-06-05 or 2026-05-06" where both may be.

    Empty when the text is no such date in any of the `orders` given.
    """
    parts = _parts(text)
    if parts is None:
        return ""
    first, second, year = parts
    readings = {"day": (year, second, first), "month": (year, first, second)}
    days = []
    for order in orders:
        try:
            days.append(date(*readings[order]).isoformat())
        except ValueError:
            continue
    return " or ".join(dict.fromkeys(days))

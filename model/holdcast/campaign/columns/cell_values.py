"""From the text of one column's cells to values; nothing here knows which file they came from."""

import re
import unicodedata
from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt

from holdcast.campaign.columns.typing_slips import advice_on_slip, kind_of_slip

__all__ = [
    "ABSENT",
    "hidden_characters",
    "parse_dates",
    "parse_numbers",
    "why_no_number",
]

Floats = npt.NDArray[np.float64]

_POINT = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[+-]?(?:[0-9]+,?[0-9]*|,[0-9]+)(?:[eE][+-]?[0-9]+)?")
_FRACTION = re.compile(r"(?:([0-9]{1,3})[ -])?([0-9]{1,3})/([1-9][0-9]{0,2})")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:([.,' \u00a0\u202f’])[0-9]{3})(?:\1[0-9]{3})*(?:[.,][0-9]+)?")
_LIKE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_WITH_UNIT = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?\s*[^\W\d_°]+.*|[+-]?[0-9.,]+\s*[%°'\"]")
_RATIO = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*(?::|to)\s*1")
_PERCENT = re.compile(r"([0-9]{1,3}(?:[.,][0-9]+)?)\s*%")
_FORMULA = re.compile(r"[=+-].*(?:[A-Za-z]\$?[0-9]|[(*/^+]).*")
ABSENT = {"nan", "na", "n/a", "none", "null", "-", "–", "—", "?", "x", "nil", "missing", "unknown"}
"""What people write where nothing was measured."""
_ISO_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_LONGEST_NUMBER = 60  # characters; longer digit strings are slips


def parse_numbers(
    texts: Sequence[str], *, decimal_commas: bool, fractions: bool = False
) -> tuple[Floats, list[int], list[int]]:
    """Read numbers.

    Parameters
    ----------
    texts : sequence of str, length n
        Cells without white space at their ends.
    decimal_commas : bool
        Whether ``1,5`` is one and a half.
    fractions : bool
        Whether ``3/8`` and ``1 1/4`` are numbers, as inch sizes are written.

    Returns
    -------
    values : ndarray of float, shape (n,)
        NaN where blank or not a number.
    bad : list of int
        Places of cells that are not finite numbers.
    ambiguous : list of int
        Places of cells such as ``1,200``, read as 1.2, that some would read as twelve hundred.
    """
    value_of: dict[str, float | None] = {"": float("nan")}
    for text in set(texts):
        if text:
            value_of[text] = _number(text, decimal_commas, fractions)
    read = [value_of[text] for text in texts]
    bad = [place for place, value in enumerate(read) if value is None]
    values = np.array([np.nan if value is None else value for value in read], dtype=np.float64)
    if not decimal_commas:
        return values, bad, []
    likely = {text for text in value_of if _LIKE_THOUSANDS.fullmatch(text)}
    return values, bad, [place for place, text in enumerate(texts) if text in likely]


def _number(text: str, decimal_commas: bool, fractions: bool) -> float | None:
    if len(text) > _LONGEST_NUMBER:
        return None
    if fractions and (match := _FRACTION.fullmatch(text)):
        whole, above, below = match.groups()
        return int(whole or 0) + int(above) / int(below)
    if not _POINT.fullmatch(text):
        if not (decimal_commas and _COMMA.fullmatch(text)):
            return None
        text = text.replace(",", ".")
    value = float(text)
    return value if np.isfinite(value) else None


def why_no_number(text: str, *, decimal_commas: bool, column: str = "") -> str:
    """Say what is probably wrong with a cell that is not a number, and what to write instead.

    Parameters
    ----------
    text : str
        The cell.
    decimal_commas : bool
        Whether the file may use them.
    column : str
        The column's stored name, since a percentage or a ratio is right in some only.
    """
    if text.casefold() in ABSENT:
        return "Leave the cell blank when it was not measured."
    if _GROUPED.fullmatch(text):
        return _thousands(text)
    if len(text) > _LONGEST_NUMBER or (_POINT.fullmatch(text) and not np.isfinite(float(text))):
        return "Correct the number: it is too long or too large for any reading."
    if not decimal_commas and "," in text and _COMMA.fullmatch(text):
        return f"Write {text.replace(',', '.')} with a point, or separate the file's cells with ; instead."
    if text.casefold().lstrip("+-") in {"inf", "infinity", "∞"}:
        return "Write the number read; leave the cell blank when it was not measured or not reached."
    if otherwise := _written_otherwise(text, column):
        return otherwise
    if kind := kind_of_slip(text):
        return advice_on_slip(kind, column)
    if text[0] in "<>≤≥=":
        return "Write the number alone; what was held and what was not each have a column."
    if _WITH_UNIT.fullmatch(text):
        return "Write the number alone; the unit is the last part of the column's name."
    return "Write a number such as 12.5, or leave the cell blank when it was not measured."


def _written_otherwise(text: str, column: str) -> str:
    """Say how to write a formula, a ratio or a percentage; empty when the text is none of them."""
    if _FORMULA.fullmatch(text):
        return "Write the number: this is a formula of a spreadsheet, saved without its value."
    if column == "scope" and (match := _RATIO.fullmatch(text)):
        return f"Write {match[1]} alone; a scope is told by its first number."
    if match := _PERCENT.fullmatch(text):
        if column.endswith("_pct"):
            return f"Write {match[1]} without the sign; the column is in percent."
        if column.endswith("fraction"):
            return f"Write {float(match[1].replace(',', '.')) / 100:g}, the share of one, without the sign."
    return ""


def _thousands(text: str) -> str:
    plain = re.sub(r"[^0-9.,+-]", "", text)
    marks = re.findall(r"[.,]", plain)
    if len(marks) == 1 and plain == text:
        joined = re.sub(r"[.,]", "", plain)
        return f"Write {joined} or {plain.replace(',', '.')}, whichever is meant; no thousands separators."
    decimal = marks[-1] if len(set(marks)) == 2 or (marks and plain != text) else ""
    whole, _, part = plain.rpartition(decimal) if decimal else (plain, "", "")
    joined = re.sub(r"[.,]", "", whole)
    return f"Write {joined}{'.' + part if part else ''} without thousands separators."


def parse_dates(texts: Sequence[str]) -> tuple[npt.NDArray[np.datetime64], list[int]]:
    """Read ISO dates (2024-05-31).

    Returns
    -------
    days : ndarray of datetime64[s], shape (n,)
        NaT where blank or not a date.
    bad : list of int
        Places of cells that are not dates.
    """
    day_of = {text: _day(text) for text in set(texts)}
    bad = [place for place, text in enumerate(texts) if text and day_of[text] is None]
    days = [np.datetime64("NaT", "s") if (day := day_of[text]) is None else day for text in texts]
    return np.array(days, dtype="datetime64[s]"), bad


def _day(text: str) -> np.datetime64 | None:
    if not _ISO_DATE.fullmatch(text):
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    # Nobody logged test pulls before; an earlier year is a slip such as 0024.
    return np.datetime64(day, "s") if day.year >= 1900 else None


def hidden_characters(text: str, *, line_breaks: bool) -> str:
    """Return the code points in a text that cannot be seen, such as ``U+0007``; empty when there are none.

    Parameters
    ----------
    text : str
        Any text.
    line_breaks : bool
        Whether line breaks and tabs are allowed, as in a note.
    """
    if text.isprintable():
        return ""
    fine = "\n\r\t" if line_breaks else ""
    hidden = [c for c in text if c not in fine and unicodedata.category(c) in {"Cc", "Cf", "Cs", "Zl", "Zp"}]
    return ", ".join(f"U+{ord(character):04X}" for character in dict.fromkeys(hidden))

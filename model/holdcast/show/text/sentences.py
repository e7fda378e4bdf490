"""Sentences beside the numbers: what they mean, where they come from, whether to trust them."""

from collections.abc import Mapping, Sequence

from holdcast.marks import APPROXIMATE
from holdcast.show.text.text_columns import plain

__all__ = [
    "BY_FORM_AND_NAME",
    "CAPACITY_MEANING",
    "EXTRAPOLATED_STAR",
    "ORDER_NOTE",
    "READING_A_BAND",
    "TOLD_APART",
    "UNRELIABLE",
    "UNTESTED_STAR",
    "WARNING",
    "accounting_sentence",
    "approximate_sentence",
    "correction_sentences",
    "provenance_sentence",
    "verdict_heading",
    "verdict_sentences",
]

CAPACITY_MEANING: tuple[str, str] = (
    "Capacity is the load at which a new straight pull breaks the anchor out on a typical visit: the median "
    "over visits to that seabed, with the load taken at the anchor, pulled along the bottom, at rest.",
    "Half of all visits would give more and half less, and single pulls scatter more widely still.",
)
"""What a capacity is, in two sentences for a reader who opens the page once."""

READING_A_BAND: tuple[str, ...] = (
    "The 90% band runs from 5% to 95%: given the log and the model, the capacity lies in it with a chance of "
    "nine in ten, below it with one in twenty and above it with one in twenty.",
    "The 50% band runs from 25% to 75%: the capacity is as likely inside it as outside.",
    "Two anchors are told apart where one holds more in at least 95% of the draws. Their bands may overlap "
    "all the same, because the two capacities move together.",
    "An untested cell is predicted from this anchor elsewhere, from like anchors here, and from size, tip "
    "load and shape; its band is wider because nobody pulled there.",
    "A new pull varies more than the capacity: its 5% is a load that nineteen of twenty new pulls reach.",
)

TOLD_APART = (
    "Two anchors are told apart where one holds more in at least 95% of the draws; bands that overlap may "
    "still be told apart."
)
"""When one anchor may be said to hold more than another."""

BY_FORM_AND_NAME = "Rows stand by form, then name, never by capacity."
ORDER_NOTE = f"{BY_FORM_AND_NAME} {TOLD_APART}"
"""In what order tables stand, and when one anchor may be said to hold more than another."""

UNTESTED_STAR = "*: nobody pulled this anchor here; it counts with its own, wider uncertainty."
EXTRAPOLATED_STAR = "*: outside the masses, areas, tip loads and strengths tested: extrapolated."

UNRELIABLE = "UNRELIABLE"
"""The mark on everything that comes from a fit whose verdict is bad."""

WARNING = "The sampler's checks failed. Do not use or publish these numbers."
"""What stands beside the mark."""


def approximate_sentence(what: str = "this is") -> str:
    """Return the mark of a quick fit as a sentence; ``what`` says what it is about, with its verb."""
    return (
        f"{APPROXIMATE}: {what} a quick fit of few draws. Fit without --quick before you publish or rely on "
        "a number."
    )


def verdict_heading(reliable: bool) -> str:
    """Return the one line that says whether the numbers may be used."""
    if reliable:
        return "The sampler's checks passed."
    return f"{UNRELIABLE}: {WARNING}"


def verdict_sentences(verdict: Mapping[str, object]) -> tuple[str, ...]:
    """Return the verdict as sentences, the heading first.

    Parameters
    ----------
    verdict : mapping
        As in ``verdict.json``: ``ok`` (bool) and ``sentences`` (sequence of str) are read.

    Raises
    ------
    KeyError
        When ``ok`` or ``sentences`` is missing.
    TypeError
        When ``ok`` is not true or false, or ``sentences`` is not a sequence of texts.
    """
    for key in ("ok", "sentences"):
        if key not in verdict:
            raise KeyError(f"the verdict has no {key!r}")
    reliable, sentences = verdict["ok"], verdict["sentences"]
    if not isinstance(reliable, bool):
        raise TypeError(f"the verdict's 'ok' must be true or false, got {reliable!r}")
    if isinstance(sentences, str) or not isinstance(sentences, Sequence):
        raise TypeError(f"the verdict's 'sentences' must be a list of texts, got {sentences!r}")
    return (verdict_heading(reliable), *map(str, sentences))


def accounting_sentence(rows_in: int, used: Mapping[str, int], excluded: int) -> str:
    """Say where every row of the log went.

    Parameters
    ----------
    rows_in, excluded : int
        Rows of the log, rows the tester excluded.
    used : mapping of str to int
        Rows that count, by kind of test: ``{"pull": 52, "reset": 3, "veer": 2}``.

    Returns
    -------
    str
        Such as "63 rows in = 57 used (52 pulls, 3 resets, 2 veers) + 6 excluded."

    Raises
    ------
    ValueError
        When the parts do not add up to the rows in.
    """
    total = sum(used.values())
    if total + excluded != rows_in:
        raise ValueError(f"{rows_in} rows in, but {total} used + {excluded} excluded")
    kinds = [f"{number} {kind}{'' if number == 1 else 's'}" for kind, number in used.items() if number]
    detail = f" ({', '.join(kinds)})" if kinds else ""
    noun = "row" if rows_in == 1 else "rows"
    return f"{rows_in} {noun} in = {total} used{detail} + {excluded} excluded."


def correction_sentences(pulls: int, on_a_rode: int, while_dragging: int) -> list[str]:
    """Say which corrections could be made to the pulls, and which could not.

    Parameters
    ----------
    pulls : int
        How many count.
    on_a_rode, while_dragging : int
        How many of them were brought to the bottom by their rode, and to rest.
    """
    return [
        f"Of {on_a_rode} of {pulls} pulls, the load at the anchor along the bottom was worked out from rode "
        f"and depth; the other {pulls - on_a_rode} count as read.",
        f"{while_dragging} loads were read while dragging at a known speed, and the load at rest was worked "
        "out; the others count as read at rest.",
    ]


def provenance_sentence(attributes: Mapping[object, object]) -> str:
    """Say who published the numbers, from which log, with which program, in one line.

    Parameters
    ----------
    attributes : mapping
        The attributes of the cells: ``title``, ``author``, ``licence``, ``version`` and ``newest_trial`` (ISO
        date of the log's newest trial); what is missing or blank is left out.
    """
    patterns = {
        "title": "{}",
        "author": "by {}",
        "newest_trial": "newest trial {}",
        "version": "holdcast {}",
        "licence": "licence {}",
    }
    texts = {name: plain(attributes.get(name, "")).strip() for name in patterns}
    return "; ".join(patterns[name].format(text) for name, text in texts.items() if text)

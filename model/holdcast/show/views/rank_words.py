"""What is ranked, in words: by pulls, by resets, by veers or by all of them."""

from typing import NamedTuple

__all__ = [
    "RANKS_APART",
    "how_to_read_ranks",
    "how_to_read_short_ranks",
    "ranked_by_sentence",
    "spoken_of",
    "untested_sentence",
]


class Spoken(NamedTuple):
    """How a measure is spoken of: what is ranked, "may do it", "of doing it", and what nobody did."""

    ranked: str
    most: str
    doing: str
    untested: str


_WORDS = {
    "capacity": Spoken("capacity, which favours heavy anchors", "hold most", "holding most", "pulled"),
    "efficiency": Spoken(
        "holding efficiency, capacity over weight",
        "hold most for its weight",
        "holding most for its weight",
        "pulled",
    ),
    "resets": Spoken(
        "the chance of setting again after a reversal of 180°",
        "set again best",
        "setting again best",
        "reset",
    ),
    "veers": Spoken(
        "the share of capacity kept in a turn of 180°",
        "keep most",
        "keeping most in a turn",
        "veered",
    ),
}
_OVERALL = Spoken("kinds of test by their weights", "be best overall", "being best overall", "tested")
RANKS_APART = (
    "Two anchors are told apart where one is ahead in at least 95% of the draws; bands that overlap may "
    "still be told apart."
)


def spoken_of(measure: str) -> Spoken:
    """Return the words for what is ranked; those of an overall ranking for anything else."""
    return _WORDS.get(measure, _OVERALL)


def how_to_read_ranks(measure: str) -> tuple[str, ...]:
    """Return how to read a table of one seabed, for what is ranked."""
    return (
        f"Rank 1 is the best; the band of a rank runs from 5% to 95% of the draws. {RANKS_APART} Anchors "
        "that share a letter cannot be told apart. Beats, beaten: how many anchors it is told apart "
        "from, below and above.",
        untested_sentence(measure),
    )


def how_to_read_short_ranks(measure: str) -> tuple[str, ...]:
    """Return how to read the table of all seabeds, for what is ranked."""
    return (
        f"Median rank and its 90% band by seabed; rank 1 is the best. {RANKS_APART} Shown: anchors with a "
        "chance of 5% or more of being among the best three somewhere.",
        untested_sentence(measure),
    )


def ranked_by_sentence(measure: str) -> str:
    """Say what is ranked."""
    if measure in ("resets", "veers"):
        return f"Ranked by {spoken_of(measure).ranked}."
    return (
        f"Ranked by {measure}, counting the chance that the anchor does not set: then it slides at about its "
        "own weight."
    )


def untested_sentence(measure: str) -> str:
    """Say what the star means."""
    done = spoken_of(measure).untested
    return f"*: nobody {done} this anchor here; it counts with its own, wider uncertainty."

"""One doubt about a result."""

from typing import NamedTuple

__all__ = ["ResultDoubt", "listed"]

_LISTED = 6


class ResultDoubt(NamedTuple):
    """What a person should look at before a number is used.

    Attributes
    ----------
    about : the cells, anchors or rode that it concerns.
    reason : what speaks against the number.
    advice : what to look at or do.
    """

    about: str
    reason: str
    advice: str


def listed(names: list[str]) -> str:
    """Return names with commas, the first few when there are many."""
    more = f" and {len(names) - _LISTED} more" if len(names) > _LISTED else ""
    return ", ".join(names[:_LISTED]) + more

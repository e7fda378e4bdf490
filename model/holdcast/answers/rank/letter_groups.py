"""Letters for groups of anchors that the draws cannot tell apart."""

from itertools import combinations
from string import ascii_lowercase

import numpy as np
from numpy.typing import NDArray

__all__ = ["MOST_GROUPS", "letter_groups"]

MOST_GROUPS = 300
"""Beyond so many groups letters help nobody, and anchors get none; the counts of sure wins still stand."""


def letter_groups(p_beats: NDArray[np.float64], median_rank: NDArray[np.float64], sure: float) -> list[str]:
    """Return the letters of each anchor: two anchors share a letter exactly when they cannot be told apart.

    Parameters
    ----------
    p_beats : array, shape (anchor, rival)
        Probability that the anchor holds more than the rival.
    median_rank : array, shape (anchor,)
        Orders the letters: group a has the best mean rank.  Groups may overlap, so the order of letters is no
        order of anchors.
    sure : float
        Two anchors are told apart when either beats the other with at least this probability.

    Returns
    -------
    list of str, length anchor
        Such as "a", "ab" (with spaces, "a ab", beyond 26 groups); blank for all when there would be more
        than `MOST_GROUPS` groups.

    Notes
    -----
    The compact letter display by insertion and absorption: Piepho 2004, *J. Comput. Graph. Stat.* 13:456
    (value from memory).  Anchors are bits of an integer here, so a group is one number.
    """
    number = len(median_rank)
    apart = (p_beats >= sure) | (sure <= p_beats.T)
    groups = {(1 << number) - 1}
    for first, second in combinations(range(number), 2):
        if apart[first, second]:
            groups = _separate(groups, 1 << first, 1 << second)
        if len(groups) > MOST_GROUPS:
            return [""] * number
    members = [[place for place in range(number) if group >> place & 1] for group in groups]
    members.sort(key=lambda group: (float(np.mean(median_rank[group])), group))
    letters = [_name(place) for place in range(len(members))]
    between = "" if len(members) <= len(ascii_lowercase) else " "
    return [
        between.join(letter for letter, group in zip(letters, members, strict=True) if place in group)
        for place in range(number)
    ]


def _separate(groups: set[int], first: int, second: int) -> set[int]:
    """Split every group that holds both, and drop groups inside others."""
    both = {group for group in groups if group & first and group & second}
    groups_left = groups - both
    for new in [group & ~bit for group in both for bit in (first, second)]:
        if not any(new & other == new for other in groups_left):
            groups_left = {other for other in groups_left if other & new != other} | {new}
    return groups_left


def _name(place: int) -> str:
    return (_name(place // 26 - 1) if place >= 26 else "") + ascii_lowercase[place % 26]

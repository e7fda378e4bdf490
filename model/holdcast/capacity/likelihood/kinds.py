"""How a load is known and whether an anchor set, as numbers that need no compiler."""

__all__ = [
    "ABOVE",
    "BELOW",
    "BETWEEN",
    "DEGREES_OF_FREEDOM",
    "DID_NOT_SET",
    "EXACT",
    "LABEL_ERROR",
    "NOT_SAID",
    "SET",
    "UNREAD",
]

EXACT, BELOW, ABOVE, BETWEEN = 0, 1, 2, 3
"""How a load is known: exactly; only below its upper end; only above its lower end; between both."""
UNREAD = 4
"""Kind of a pull of which no load was read, beside those of a load known in part."""
NOT_SAID, SET, DID_NOT_SET = 0, 1, 2
"""Whether a pull's anchor set, as logged."""
LABEL_ERROR = 0.02
"""Chance that the word in the column `set` is a slip of the pen (a choice, no source): it weighs 49 to 1
against what the load says."""
DEGREES_OF_FREEDOM = 4.0
"""Of the scatter's Student t, see :mod:`holdcast.capacity.likelihood.interval`."""

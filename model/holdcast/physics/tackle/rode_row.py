"""From a row of rodes.csv to the links whose strength is known."""

import math
from collections.abc import Hashable, Mapping

from holdcast.physics.tackle.strength import Link, rode_links

__all__ = ["links_of"]


def links_of(row: Mapping[Hashable, object]) -> tuple[Link, ...]:
    """Return the links of a row of rodes.csv whose sizes are known.

    Parameters
    ----------
    row : mapping
        ``grade``, ``chain_mm`` and ``shackle_in``; NaN or blank where not given.

    Raises
    ------
    PhysicsError
        When a size or grade is not known of.
    """

    def size(name: str) -> float:
        return float(str(row.get(name, math.nan) or math.nan))

    grade = row.get("grade", "")
    written = "" if grade is None or grade != grade else str(grade)
    return rode_links(written, size("chain_mm"), size("shackle_in"))

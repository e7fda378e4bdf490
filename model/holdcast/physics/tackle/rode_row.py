"""From a row of rodes.csv to the links whose strength is known."""

import pandas as pd

from holdcast.physics.tackle.strength import Link, rode_links

__all__ = ["links_of"]


def links_of(row: pd.Series) -> tuple[Link, ...]:
    """Return the links of a row of rodes.csv whose sizes are known.

    Raises
    ------
    PhysicsError
        When a size or grade is not in the tables.
    """

    def known(name: str) -> float | None:
        return float(row[name]) if name in row and pd.notna(row[name]) else None

    grade = "" if pd.isna(row["grade"]) else str(row["grade"])
    return rode_links(
        grade, chain_in=known("chain_in"), chain_mm=known("chain_mm"), shackle_in=known("shackle_in")
    )

"""Mass of chain by its size.

Signatures::

    chain_mass_kg_per_m(size_mm) -> float
"""

import numpy as np

from holdcast.physics.errors import positive
from holdcast.physics.tables import read_table

__all__ = ["chain_mass_kg_per_m"]


def chain_mass_kg_per_m(size_mm: float) -> float:
    """Return the mass of short-link chain of a bar diameter [kg/m].

    Parameters
    ----------
    size_mm : float
        Bar diameter [mm].

    Raises
    ------
    PhysicsError
        When the size is not above 0.

    Notes
    -----
    Mass over the diameter squared, between the sizes of data/tables/chain_metric.csv on a straight line and
    beyond them that of the last one; similar links have the same. Suppliers differ by some 5%.
    """
    positive("chain size", size_mm, "mm")
    rows = {float(row["size_mm"]): float(row["kg_per_m"]) for row in reversed(read_table("chain_metric"))}
    sizes = np.array(sorted(rows))
    over_square = np.array([rows[size] / size**2 for size in sizes])
    return float(np.interp(size_mm, sizes, over_square)) * size_mm**2

"""One slip made in many rows: told once, with the name that the column should perhaps have."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from holdcast.campaign.columns.known_columns import Column, FileColumns
from holdcast.physics.units import FACTORS

__all__ = ["FEWEST_OF_A_SLIP", "column_of", "fitting_names", "most_of"]

FEWEST_OF_A_SLIP = 3
"""Rows from which on one slip is told once for all of them (a choice)."""

Numbers = npt.NDArray[np.float64]


def most_of(bad: npt.NDArray[np.bool_], judged: npt.NDArray[np.bool_]) -> bool:
    """Return whether most of the rows that can be judged are bad, and several."""
    return int(bad.sum()) >= FEWEST_OF_A_SLIP and bool(bad.sum() > 0.5 * judged.sum())


def column_of(spec: FileColumns, stored_name: str) -> Column:
    """Return a file's column by its stored name.

    Raises
    ------
    KeyError
        When the file has no such column.
    """
    for column in spec.columns:
        if column.stored_name == stored_name:
            return column
    raise KeyError(f"{spec.file} has no column {stored_name}")


def fitting_names(
    column: Column, header: str, values: Numbers, fits: Callable[[Numbers], npt.NDArray[np.bool_]]
) -> str:
    """Return the names of a column, in other units than its own, with which most of its numbers would fit.

    Parameters
    ----------
    column : Column
        A quantity with a unit.
    header : str
        The column's name as written.
    values : ndarray of float
        Its numbers in the unit kept inside; NaN is left out.
    fits : callable
        Which numbers, in the unit kept inside, are as they should be.
    """
    written = column.written_names.get(header.casefold(), "")
    if not written:
        return ""
    factors, measured = FACTORS[column.quantity], values[~np.isnan(values)]
    names = [
        name
        for name, unit in column.written_names.items()
        if unit != written and np.mean(fits(measured / factors[written] * factors[unit])) > 0.8
    ]
    return " or ".join(names)

"""Reading the published tables that travel with the package.

Signature::

    read_table(name) -> tuple of rows, each a mapping from column to text
"""

import csv
from collections.abc import Mapping
from types import MappingProxyType

from holdcast import package_data

__all__ = ["read_table"]


def _lines(name: str) -> list[str]:
    return package_data.path(f"tables/{name}.csv").read_text(encoding="utf-8").splitlines()


def read_table(name: str) -> tuple[Mapping[str, str], ...]:
    """Return the rows of a published table as text, comment lines left out.

    Parameters
    ----------
    name : str
        File name below ``data/tables`` without ``.csv``.

    Raises
    ------
    FileNotFoundError
        When the package holds no such table.
    """
    rows = csv.DictReader(line for line in _lines(name) if not line.startswith("#"))
    return tuple(MappingProxyType(row) for row in rows)

"""Reading the published tables that travel with the package.

Signatures::

    read_table(name) -> tuple of rows, each a mapping from column to text
    table_source(name) -> the comment lines at the head of the table, with source and mark
"""

import csv
from collections.abc import Mapping
from types import MappingProxyType

from holdcast import package_data

__all__ = ["read_table", "table_source"]


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


def table_source(name: str) -> str:
    """Return source, mark and remarks of a published table, as its comment lines tell them."""
    return "\n".join(line.lstrip("# ") for line in _lines(name) if line.startswith("#"))

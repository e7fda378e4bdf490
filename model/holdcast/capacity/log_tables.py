"""Tables of the log inside a fit's tree: column names that a NetCDF file cannot hold, written and read back.

Signatures::

    escaped_name(name) -> str
    original_name(name) -> str
    log_table(tree, group) -> DataFrame
"""

import re

import pandas as pd
import xarray as xr

__all__ = ["escaped_name", "log_table", "original_name"]

_ESCAPES = {"%": "%25", "/": "%2F"}
_DOT = "%2E"
_CODES = {code: sign for sign, code in _ESCAPES.items()} | {_DOT: "."}


def escaped_name(name: str) -> str:
    """Return a column's name as a NetCDF variable may be called.

    A slash would part groups, and a single point means the group itself; both, and the sign that marks an
    escape, are written as in a web address (RFC 3986, percent-encoding, value from memory).
    """
    return _DOT if name == "." else re.sub("[%/]", lambda sign: _ESCAPES[sign[0]], name)


def original_name(name: str) -> str:
    """Return the column's name of which `escaped_name` made this one."""
    return re.sub("%25|%2F|%2E", lambda code: _CODES[code[0]], name)


def log_table(tree: xr.DataTree, group: str) -> pd.DataFrame:
    """Return a table of the log as the tester's file had it.

    Parameters
    ----------
    tree : DataTree
        Of a fit.
    group : {"anchors", "seabeds", "trials", "rodes"}

    Returns
    -------
    DataFrame, index the table's label
        Columns under their own names.
    """
    return tree[group].to_dataset().to_dataframe().rename(columns=lambda name: original_name(str(name)))

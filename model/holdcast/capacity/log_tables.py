"""Tables of the log inside a fit's tree: column names that a NetCDF file cannot hold, written and read back.

Signatures::

    escaped_name(name) -> str
    original_name(name) -> str
    log_table(tree, group) -> DataFrame
    log_groups(campaign) -> dict of str to Dataset
"""

import re

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.campaign.records import Campaign

__all__ = ["escaped_name", "log_groups", "log_table", "original_name"]

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


def log_groups(campaign: Campaign) -> dict[str, xr.Dataset]:
    """Return the tables of a campaign as groups of a tree; rodes only where there are some."""
    tables = {"anchors": campaign.anchors, "seabeds": campaign.seabeds, "trials": campaign.trials}
    groups = {name: _labelled(table) for name, table in tables.items()}
    return groups | ({"rodes": _labelled(campaign.rodes)} if len(campaign.rodes) else {})


def _labelled(table: pd.DataFrame) -> xr.Dataset:
    """Return a table as a Dataset of numbers, truth values and text, with the table's label as dim."""
    plain = {}
    for name, column in table.items():
        if pd.api.types.is_datetime64_any_dtype(column):
            plain[escaped_name(str(name))] = (
                column.dt.strftime("%Y-%m-%d").fillna("").astype(str).to_numpy(dtype=str)
            )
        elif pd.api.types.is_bool_dtype(column) or pd.api.types.is_numeric_dtype(column):
            plain[escaped_name(str(name))] = column.to_numpy()
        else:
            plain[escaped_name(str(name))] = column.fillna("").astype(str).to_numpy(dtype=str)
    dim = str(table.index.name)
    labels = np.array([str(label) for label in table.index], dtype=str)
    return xr.Dataset({name: (dim, values) for name, values in plain.items()}, coords={dim: labels})

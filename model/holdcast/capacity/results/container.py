"""The HDF5 file beneath ``posterior.nc``: looked through before anything in it is followed or read.

The format can point at other files, at itself in circles, or at code of a plug-in that unpacks it; what fit
writes does none of that, so all of it is refused.
"""

from typing import Any

import h5py
import xarray as xr

from holdcast.capacity.results.pair import MOST_POSTERIOR_BYTES
from holdcast.capacity.results.precision import encodings

__all__ = ["MOST_OBJECTS", "ContainerError", "checked_members", "tree_bytes"]

MOST_OBJECTS = 4000
"""Groups and variables in the file; a fit has about 340, and each column of a tester's own is one more."""
_ROOM = 1_000_000
"""Bytes that all variables may claim beyond the file's size: dimensions without a variable take no room."""
_PLAIN = {h5py.h5t.INTEGER, h5py.h5t.FLOAT, h5py.h5t.STRING}


class ContainerError(Exception):
    """A file that is no NetCDF file as fit writes it; the message is a phrase."""


def tree_bytes(tree: xr.DataTree) -> bytes:
    """Return a tree as the content of a NetCDF file.

    Made in memory: on a full disk the file library fails once more, and hard, when the program ends.
    """
    content: Any = tree.to_netcdf(None, engine="h5netcdf", encoding=encodings(tree))
    return bytes(content)


def checked_members(file: h5py.File, size: int) -> dict[str, dict[str, h5py.Dataset]]:
    """Look through a file's links, groups and variables without reading a value.

    Parameters
    ----------
    file : File
    size : int
        Of the file [bytes].

    Returns
    -------
    dict
        The variables of each group, so that they need not be looked for again.

    Raises
    ------
    ContainerError
        For a file over `MOST_POSTERIOR_BYTES`, more than `MOST_OBJECTS` objects, groups within groups, any
        link but the plain kind, values kept in another file or packed by a filter, kinds of values that fit
        does not write, or variables that claim more than the file holds.
    OSError, RuntimeError, ValueError, KeyError
        From the library, for a damaged file.
    """
    if size > MOST_POSTERIOR_BYTES:
        raise ContainerError(f"{size / 1e9:,.1f} GB; up to {MOST_POSTERIOR_BYTES / 1e9:,.0f} GB are read")
    groups: dict[str, dict[str, h5py.Dataset]] = {}
    variables: list[tuple[str, h5py.Dataset]] = []
    for name, member in _members(file, "the root"):
        if isinstance(member, h5py.Group):
            groups[name] = dict(_members(member, name))
            variables += [(f"{name}/{inner}", value) for inner, value in groups[name].items()]
        else:
            raise ContainerError(f"a variable outside of the groups ({name[:80]!r})")
        if len(variables) > MOST_OBJECTS:
            raise ContainerError(f"over {MOST_OBJECTS:,} variables")
    claimed = sum(_check_variable(name, variable) for name, variable in variables)
    if claimed > size + _ROOM:
        raise ContainerError(f"variables of {claimed:,} bytes in a file of {size:,}")
    return groups


def _members(group: h5py.Group, name: str) -> list[tuple[str, h5py.Group | h5py.Dataset]]:
    """Return what a group holds by plain links."""
    if len(group) > MOST_OBJECTS:
        raise ContainerError(f"over {MOST_OBJECTS:,} variables")
    for key in group:
        if not isinstance(group.get(key, getlink=True), h5py.HardLink):
            raise ContainerError(f"{name} holds a link to another place or file ({key[:80]!r})")
    return [(str(key), group[key]) for key in group]


def _check_variable(name: str, variable: object) -> int:
    """Return how many bytes a variable claims, after checking how it is kept."""
    if isinstance(variable, h5py.Group):
        raise ContainerError(f"a group within a group ({name[:80]!r})")
    if not isinstance(variable, h5py.Dataset):
        raise ContainerError(f"{name[:80]!r} is neither a group nor a variable")
    storage = variable.id.get_create_plist()
    if storage.get_external_count() or storage.get_layout() == h5py.h5d.VIRTUAL:
        raise ContainerError(f"{name[:80]!r} keeps its values in another file")
    if storage.get_nfilters():
        raise ContainerError(f"{name[:80]!r} is packed by a filter, which fit does not do")
    if variable.id.get_type().get_class() not in _PLAIN:
        raise ContainerError(f"{name[:80]!r} holds values of a kind that fit does not write")
    return int(variable.size or 0) * int(variable.id.get_type().get_size())

"""A NetCDF file as a tree: every variable read once, straight from the HDF5 file beneath it.

xarray's own way through h5netcdf gives the same tree (a test compares the two) and takes six times as long:
it asks the file anew for each variable's dims.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import xarray as xr

__all__ = ["read_tree", "tree_of"]

_OF_THE_FORMAT = frozenset({
    "CLASS", "NAME", "DIMENSION_LIST", "REFERENCE_LIST", "_Netcdf4Dimid", "_Netcdf4Coordinates",
    "_nc3_strict", "_NCProperties",
})  # fmt: skip
"""Attributes by which NetCDF-4 keeps its dims in an HDF5 file (netCDF users guide, file format, NetCDF-4)."""
_NOT_LOOKED_AT = _OF_THE_FORMAT - {"CLASS", "NAME", "DIMENSION_LIST"}
_LENGTH_ONLY = b"This is a netCDF dimension but not a netCDF variable"


def read_tree(path: Path) -> xr.DataTree:
    """Return the tree of a file that :func:`.container.check_container` let through.

    Parameters
    ----------
    path : Path
        A NetCDF-4 file of groups with variables.

    Returns
    -------
    DataTree
        Conventions for missing values, truths and labels applied; numbers in double precision.

    Raises
    ------
    Exception
        Of the library, for a damaged file; of which kind is not known beforehand.
    """
    with h5py.File(path, "r") as file:
        return tree_of(file, {str(name): dict(group.items()) for name, group in file.items()})


def tree_of(file: h5py.File, members: Mapping[str, Mapping[str, h5py.Dataset]]) -> xr.DataTree:
    """Return the same of an open file, whose variables by group are at hand."""
    groups = {name: _group(file[name], variables) for name, variables in members.items()}
    attributes = _of_the_variable(_attributes(file))
    tree = xr.DataTree.from_dict({name: xr.decode_cf(group) for name, group in groups.items()})
    tree.attrs = attributes
    return tree


def _group(group: h5py.Group, members: Mapping[str, h5py.Dataset]) -> xr.Dataset:
    """Return a group as it is kept, conventions not yet applied."""
    attributes = {name: _attributes(member) for name, member in members.items()}
    scales = {_place(members[name].id): name for name, own in attributes.items() if "CLASS" in own}
    kept = {name: member for name, member in members.items() if not _is_length_only(attributes[name])}
    values = _values(kept)
    variables = {
        name: xr.Variable(
            _dims(name, member, attributes[name], scales), values[name], _of_the_variable(attributes[name])
        )
        for name, member in kept.items()
    }
    return xr.Dataset(variables, attrs=_of_the_variable(_attributes(group)))


def _is_length_only(attributes: Mapping[str, object]) -> bool:
    name = attributes.get("NAME")
    return isinstance(name, bytes) and name.startswith(_LENGTH_ONLY)


def _dims(
    name: str, member: h5py.Dataset, attributes: Mapping[str, Any], scales: Mapping[int, str]
) -> tuple[str, ...]:
    """Return a variable's dims: those that it points at, or itself where it is one."""
    if "DIMENSION_LIST" not in attributes:
        return (name,) if member.ndim else ()
    pointers = attributes["DIMENSION_LIST"]
    return tuple(scales[_place(h5py.h5r.dereference(each[0], member.id))] for each in pointers)


def _place(identifier: h5py.h5d.DatasetID) -> int:
    """Return where an object begins in its file: what two ways to it have in common."""
    return int(h5py.h5o.get_info(identifier).addr)


def _values(members: Mapping[str, h5py.Dataset]) -> dict[str, np.ndarray]:
    """Return variables' values, texts as texts and single precision doubled.

    All that is doubled stands in one piece of memory, and is read by way of one other: memory that is new to
    the program costs more time than what is done with it.
    """
    values, single = {}, {}
    for name, member in members.items():
        kind = member.dtype
        if kind == np.float32:
            single[name] = member
        elif h5py.check_string_dtype(kind) is not None:
            values[name] = np.asarray(member.asstr()[()], dtype=str)
        else:
            values[name] = np.asarray(member[()])
    room = np.empty(sum(member.size for member in single.values()))
    as_kept = np.empty(max((member.size for member in single.values()), default=0), dtype=np.float32)
    first = 0
    for name, member in single.items():
        here, doubled = as_kept[: member.size], room[first : first + member.size]
        if member.size:
            member.id.read(h5py.h5s.ALL, h5py.h5s.ALL, here)
        doubled[:] = here
        values[name] = doubled.reshape(member.shape)
        first += member.size
    return values


def _attributes(holder: h5py.Group | h5py.Dataset) -> dict[str, Any]:
    """Return all attributes that are looked at, those of the format too: each is read once."""
    attributes = holder.attrs
    return {name: attributes[name] for name in map(str, attributes) if name not in _NOT_LOOKED_AT}


def _of_the_variable(attributes: Mapping[str, Any]) -> dict[str, object]:
    """Return the attributes that are not the format's own; a list of one number is a number in NetCDF."""
    values = {name: value for name, value in attributes.items() if name not in _OF_THE_FORMAT}
    values = {name: value[0] if np.shape(value) == (1,) else value for name, value in values.items()}
    # To put NaN for NaN changes nothing, and would be done anew whenever a variable is asked for.
    if isinstance(values.get("_FillValue"), np.floating) and np.isnan(values["_FillValue"]):
        del values["_FillValue"]
    return values

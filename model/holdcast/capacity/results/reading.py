"""A NetCDF file as a tree: every variable read once, straight from the HDF5 file beneath it.

xarray's own way through h5netcdf gives the same tree (a test compares the two) and takes six times as long:
it asks the file anew for each variable's dims.
"""

from pathlib import Path

import h5py
import numpy as np
import xarray as xr

__all__ = ["read_tree"]

_OF_THE_FORMAT = frozenset({
    "CLASS", "NAME", "DIMENSION_LIST", "REFERENCE_LIST", "_Netcdf4Dimid", "_Netcdf4Coordinates",
    "_nc3_strict", "_NCProperties",
})  # fmt: skip
"""Attributes by which NetCDF-4 keeps its dims in an HDF5 file (netCDF users guide, file format, NetCDF-4)."""
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
        groups = {str(name): _group(group) for name, group in file.items()}
        attributes = _attributes(file)
    tree = xr.DataTree.from_dict({name: xr.decode_cf(group) for name, group in groups.items()})
    tree.attrs = attributes
    return tree


def _group(group: h5py.Group) -> xr.Dataset:
    """Return a group as it is kept, conventions not yet applied."""
    members = dict(group.items())
    scales = {_place(member.id): name for name, member in members.items() if "CLASS" in member.attrs}
    variables = {
        name: xr.Variable(_dims(name, member, scales), _values(member), _attributes(member))
        for name, member in members.items()
        if not _is_length_only(member)
    }
    return xr.Dataset(variables, attrs=_attributes(group))


def _is_length_only(member: h5py.Dataset) -> bool:
    name = member.attrs.get("NAME")
    return isinstance(name, bytes) and name.startswith(_LENGTH_ONLY)


def _dims(name: str, member: h5py.Dataset, scales: dict[int, str]) -> tuple[str, ...]:
    """Return a variable's dims: those that it points at, or itself where it is one."""
    if "DIMENSION_LIST" not in member.attrs:
        return (name,) if member.ndim else ()
    pointers = member.attrs["DIMENSION_LIST"]
    return tuple(scales[_place(h5py.h5r.dereference(each[0], member.id))] for each in pointers)


def _place(identifier: h5py.h5d.DatasetID) -> int:
    """Return where an object begins in its file: what two ways to it have in common."""
    return int(h5py.h5o.get_info(identifier).addr)


def _values(member: h5py.Dataset) -> np.ndarray:
    """Return a variable's values, texts as texts and single precision doubled."""
    if h5py.check_string_dtype(member.dtype) is not None:
        return np.asarray(member.asstr()[()], dtype=str)
    values = np.asarray(member[()])
    return values.astype(np.float64) if values.dtype == np.float32 else values


def _attributes(holder: h5py.Group | h5py.Dataset) -> dict[str, object]:
    """Return the attributes that are not the format's own; a list of one number is a number in NetCDF."""
    values = {str(name): holder.attrs[name] for name in holder.attrs if name not in _OF_THE_FORMAT}
    values = {name: value[0] if np.shape(value) == (1,) else value for name, value in values.items()}
    # To put NaN for NaN changes nothing, and would be done anew whenever a variable is asked for.
    if isinstance(values.get("_FillValue"), np.floating) and np.isnan(values["_FillValue"]):
        del values["_FillValue"]
    return values

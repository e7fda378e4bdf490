"""Column names that a NetCDF file cannot hold come through it."""

import io

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from holdcast.capacity.log_tables import _labelled, escaped_name, log_table, original_name

ODD = ["price/eur", "wind/gust", ".", "..", "/", "a%2Fb", "100%", "%25", "./.", "é/ü", "a b", "price", "%2E"]


@pytest.mark.parametrize("name", ODD)
def test_a_name_comes_back_and_is_changed_only_where_it_must_be(name):
    assert original_name(escaped_name(name)) == name
    assert "/" not in escaped_name(name) and escaped_name(name) != "."
    if not set(name) & {"/", "%"} and name != ".":
        assert escaped_name(name) == name


@given(st.lists(st.text(alphabet="%/.25FEab"), unique=True))
def test_no_two_names_become_one(names):
    escaped = [escaped_name(name) for name in names]
    assert [original_name(name) for name in escaped] == names
    assert len(set(escaped)) == len(names)


def test_a_table_comes_back_from_a_file():
    table = pd.DataFrame({name: [f"{name} 1", ""] for name in ODD} | {"mass_kg": [10.0, np.nan]})
    table.index = pd.Index(["A", "B"], name="anchor")
    tree = xr.DataTree.from_dict({"anchors": _labelled(table)})
    saved = tree.to_netcdf(None, engine="h5netcdf")
    back = log_table(xr.open_datatree(io.BytesIO(bytes(saved)), engine="h5netcdf"), "anchors")
    assert list(back.columns) == list(table.columns)
    assert back.astype(str).equals(table.astype(str))

"""A wide table: anchors by seabeds, the numbers of the answer, wrong questions refused."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from holdcast import to_frame

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


@pytest.fixture
def table():
    values = np.arange(2 * 3 * 5, dtype=float).reshape(2, 3, 5)
    return xr.Dataset(
        {
            "capacity_n": (("anchor", "seabed", "quantile"), values),
            "pulls": (("seabed", "anchor"), np.array([[1, 2], [0, 4], [5, 6]])),
            "evidence": (("anchor", "seabed"), np.full((2, 3), "tested", dtype=object)),
        },
        {
            "anchor": ["B", "A"],
            "seabed": ["mud", "silt", "sand"],
            "quantile": list(QUANTILES),
            "form": ("anchor", ["claw", "scoop"]),
        },
    )


def test_medians_are_those_of_the_answer_in_its_order(table):
    wide = to_frame(table["capacity_n"])
    assert wide.index.to_list() == ["B", "A"] and wide.columns.to_list() == ["mud", "silt", "sand"]
    assert (wide.index.name, wide.columns.name) == ("anchor", "seabed")
    for anchor in wide.index:
        for seabed in wide.columns:
            assert wide.loc[anchor, seabed] == table["capacity_n"].sel(
                anchor=anchor, seabed=seabed, quantile=0.5
            )
    assert to_frame(table["capacity_n"], 0.95).loc["A", "mud"] == 19.0


def test_bands_stand_by_seabed_and_quantile(table):
    wide = to_frame(table["capacity_n"], quantiles=(0.05, 0.95))
    assert wide.columns.names == ["seabed", "quantile"] and wide.shape == (2, 6)
    assert wide.loc["A", ("silt", 0.95)] == 24.0 and wide["sand"].loc["B"].to_list() == [10.0, 14.0]


def test_a_variable_without_quantiles_is_laid_out_as_it_is(table):
    pd.testing.assert_frame_equal(
        to_frame(table["pulls"]),
        pd.DataFrame(
            [[1, 0, 5], [2, 4, 6]],
            pd.Index(["B", "A"], name="anchor"),
            pd.Index(["mud", "silt", "sand"], name="seabed"),
        ),
        check_index_type=False,
        check_column_type=False,
    )
    assert to_frame(table["evidence"]).loc["A", "sand"] == "tested"


def test_wrong_questions_are_refused(table):
    with pytest.raises(KeyError, match=r"no quantile 0\.1; known: 0\.05, 0\.25, 0\.5, 0\.75, 0\.95"):
        to_frame(table["capacity_n"], (0.1, 0.5))
    with pytest.raises(ValueError, match="dims anchor and seabed"):
        to_frame(table["capacity_n"].isel(seabed=0))

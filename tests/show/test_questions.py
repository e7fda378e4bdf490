"""What a reader asks next, on the page: ranks, features, sizes, with what cannot be told apart."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.report.questions import ranking_question, sizes_question


def ranked() -> tuple[xr.Dataset, pd.DataFrame]:
    answer = xr.Dataset(
        {"pairs_apart": ("seabed", [3]), "pairs_wrong": ("seabed", [0.06])}, {"seabed": ["mud"]}
    )
    rows = pd.DataFrame(
        {
            "anchor": ["A", "<b>"], "seabed": "mud", "measure": "capacity",
            "evidence": ["tested", "untested"],
            "rank_q05": [1, 1], "rank_q50": [1, 2], "rank_q95": [2, 2], "p_best": [0.8, 0.2],
        }
    )  # fmt: skip
    return answer.assign_attrs(measure="capacity"), rows


def test_each_anchor_has_its_median_rank_and_band_and_a_star_where_predicted() -> None:
    question = ranking_question(*ranked())
    (table,) = question.tables
    assert list(table.header) == ["anchor", "mud"]
    assert [list(row) for row in table.rows] == [["A", "1 1-2"], ["<b>", "2* 1-2"]]
    said = " ".join(question.sentences)
    assert "Pairs told apart: 3" in said and "about 0.1 of them" in said
    assert "A (80%)" in said and "bands that overlap may still be told apart" in said


def sizes_of(*masses: float) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "shape": "A", "seabed": "mud", "mass_kg": mass, "evidence": "untested",
                "capacity_n_q05": 80.0 * mass, "capacity_n_q50": 100.0 * mass, "capacity_n_q95": 130.0 * mass,
                "times_largest": mass / 10.0, "times_smallest": mass / 10.0,
            }
            for mass in masses
        ]
    )  # fmt: skip


def test_masses_beyond_those_tested_are_marked_and_bands_stand_beside_each() -> None:
    question = sizes_question(sizes_of(10.0, 20.0), "mud", "si")
    (table,) = question.tables
    assert list(table.header) == ["design", "in mud", "10.0 kg", "20.0 kg"]
    assert list(table.rows[0]) == ["A", "untested", "1.00 (0.80 to 1.30)", "2.00* (1.60 to 2.60)"]


def test_units_of_the_page_are_those_of_loads_and_masses() -> None:
    (table,) = sizes_question(sizes_of(10.0), "mud", "us").tables
    assert table.header[2] == "22.0 lb"
    assert table.rows[0][2].startswith("225 (")
    assert np.isclose(100.0 * 10.0 / 4.448222, 224.8, atol=0.05)

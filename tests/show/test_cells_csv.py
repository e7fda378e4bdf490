"""The table of cells as a file: columns of the tester's own behind those that every campaign has."""

import csv
import io

import pandas as pd
import pytest

from holdcast.show.text.cells_csv import cells_csv, plain_cell


def test_carried_columns_stand_last_by_their_own_label_and_never_hide_another(make_cells):
    cells = make_cells(2, 2)
    anchors, seabeds = cells["anchor"].to_numpy(), cells["seabed"].to_numpy()
    prices = pd.DataFrame({"price": ["dear", "-5"], "range": ["a", "b"]}, index=anchors)
    shores = pd.DataFrame({"price": ["x", "y"], "shore": ["=1", "bare"]}, index=seabeds)
    # By label: the order of a table does not matter.
    text = cells_csv(cells, carried={"anchor": prices.iloc[::-1], "seabed": shores})
    plain = list(csv.reader(io.StringIO(cells_csv(cells))))
    header, *rows = csv.reader(io.StringIO(text))
    assert header == [*plain[0], "price", "anchor_range", "seabed_price", "shore"]
    assert [row[: len(plain[0])] for row in rows] == plain[1:]
    assert [row[-4:] for row in rows] == [
        [price, mark, *shore]
        for price, mark in (("dear", "a"), ("-5", "b"))
        for shore in (("x", "'=1"), ("y", "bare"))
    ]


def test_a_carried_name_is_never_a_formula_nor_that_of_a_quick_fits_mark(make_cells):
    cells = make_cells(1, 1)
    own = pd.DataFrame({"=A1": ["x"], "approximate": ["y"], "Pulls": ["z"]}, index=cells["anchor"].to_numpy())
    text = cells_csv(cells, approximate=True, carried={"anchor": own})
    header = next(csv.reader(io.StringIO(text)))
    assert header[-3:] == ["'=A1", "anchor_approximate", "anchor_Pulls"]
    assert header[0] == "approximate" and len({name.casefold() for name in header}) == len(header)


def test_carried_tables_hold_every_label(make_cells):
    with pytest.raises(KeyError):
        cells_csv(make_cells(2, 1), carried={"anchor": pd.DataFrame({"price": ["1"]}, index=["other"])})


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("-5", "-5"),
        ("+3,5", "+3,5"),
        ("-5+1", "'-5+1"),
        ("=1", "'=1"),
        ("@x", "'@x"),
        ("-", "'-"),
        ("a-b", "a-b"),
    ],
)
def test_only_what_a_spreadsheet_would_compute_is_quoted(text, shown):
    assert plain_cell(text) == shown

"""Setting in the table, the CSV and the figure: as computed where the cells tell of it, else nothing."""

import csv
import io

import numpy as np
import pytest

from holdcast.show.figures.capacity import capacity_sheet
from holdcast.show.text.cell_table import cell_table
from holdcast.show.text.cells_csv import cells_csv

# The columns of cells.csv about setting, in the order of the published description of the results.
COLUMNS = [
    *(f"{name}_{q}" for name in ("sets", "resets", "veer_kept") for q in ("q05", "q50", "q95")),
    *("reset_attempts", "veers"),
]


def with_setting(cells):
    """The same cells, of which the first anchor sets nowhere and the second one in three pulls of four."""
    shape = (cells.sizes["anchor"], cells.sizes["seabed"], cells.sizes["quantile"])
    sets = np.broadcast_to([0.5, 0.6, 0.75, 0.8, 0.875], shape).copy()
    sets[0] = [0.0, 0.01, 0.02, 0.03, 0.0614]
    never = np.zeros(shape[:2], dtype=bool)
    never[0] = True
    band, cell = ("anchor", "seabed", "quantile"), ("anchor", "seabed")
    return cells.assign(
        sets=(band, sets),
        resets=(band, sets / 2),
        veer_kept=(band, sets / 4),
        reset_attempts=(cell, np.full(shape[:2], 7)),
        veers=(cell, np.full(shape[:2], 3)),
        never_set=(cell, never),
    )


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_csv_has_the_columns_blank_without_the_tests(make_cells):
    rows = rows_of(cells_csv(make_cells(3, 2)))
    assert [name for name in rows[0] if name in COLUMNS] == COLUMNS
    assert {row[name] for row in rows for name in COLUMNS} == {""}


def test_csv_gives_setting_as_computed(make_cells):
    row = rows_of(cells_csv(with_setting(make_cells(3, 2))))[2]
    assert [row[name] for name in COLUMNS] == (
        ["0.5", "0.75", "0.875", "0.25", "0.375", "0.4375", "0.125", "0.1875", "0.21875", "7", "3"]
    )


@pytest.mark.parametrize("width", [40, 120, 140])
def test_the_table_names_who_never_set(make_cells, width):
    cells = make_cells(3, 2)
    without = cell_table(cells, width=width)
    assert "sets" not in without.casefold().split() and "NEVER SET" not in without
    table = " ".join(cell_table(with_setting(cells), width=width).split())
    assert table.count("2% 0-6 NEVER SET") == 2 and table.count("75% 50-88") == 4
    assert "no pull of this anchor here ever dug in" in table and "whose anchor set" in table


def test_the_figure_names_who_never_set(make_cells):
    cells = make_cells(3, 2)
    notes = [note for panel in capacity_sheet(with_setting(cells)).panels for note in panel.notes]
    assert sum(note.startswith("never set") for note in notes) == 2
    assert not any("never" in note for panel in capacity_sheet(cells).panels for note in panel.notes)

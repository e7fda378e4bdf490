"""Setting in the table, the CSV and the figure: as computed where the cells tell of it, else nothing."""

import csv
import io

import numpy as np
import pytest

from holdcast.show.figures.capacity import capacity_figure, capacity_sheet
from holdcast.show.figures.intervals import interval_figure
from holdcast.show.text.cell_table import cell_table
from holdcast.show.text.cells_csv import cells_csv
from holdcast.show.views.setting_again import save_setting_again, setting_again_sheet, setting_again_svgs

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
        reset_successes=(cell, np.full(shape[:2], 5)),
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


@pytest.mark.parametrize("narrow", [False, True])
def test_the_figure_marks_who_seldom_or_never_sets_by_shape_and_word(make_cells, narrow):
    """The first anchor never set, all others set in three pulls of four: a cross and triangles."""
    cells = with_setting(make_cells(4, 2))
    cells["sets"][3] = [0.8, 0.82, 0.9, 0.95, 0.99]
    figure = capacity_figure(cells, narrow=narrow)
    drawn = {
        (line.get_marker(), float(x)) for axes in figure.axes for line in axes.lines for x in line.get_xdata()
    }
    for anchor, marker in zip(range(4), "Xvvo", strict=True):
        for load in cells["capacity_n"].sel(quantile=0.5)[anchor].to_numpy():
            assert any(shape == marker and x == pytest.approx(load / 1000) for shape, x in drawn)
    texts = [text.get_text() for axes in figure.axes for text in axes.texts]
    assert "cross: never set here" in texts and "triangle: sets in fewer than four of five pulls" in texts
    assert sum(text.endswith(", sets 75%") for text in texts) == 4
    plain = [text.get_text() for axes in capacity_figure(make_cells(4, 2)).axes for text in axes.texts]
    assert not any("cross" in text or "triangle" in text or "sets" in text for text in plain)


def test_setting_again_is_drawn_where_it_was_tried(make_cells, tmp_path):
    cells = with_setting(make_cells(4, 3))
    assert setting_again_sheet(make_cells(4, 3)) is None
    assert save_setting_again(make_cells(4, 3), tmp_path) == [] == setting_again_svgs(make_cells(4, 3))
    first, second, third = map(str, cells["seabed"].to_numpy())
    cells["reset_attempts"][1:, 0] = cells["reset_successes"][1:, 0] = 0
    cells["reset_attempts"][:, 2] = cells["veers"][:, :2] = 0
    sheet = setting_again_sheet(cells)
    assert [(panel.title, panel.subtitle) for panel in sheet.panels] == [
        (first, "sets again, %"),
        (second, "sets again, %"),
        (third, "kept in a turn, %"),
    ]
    tried = str(cells["anchor"].to_numpy()[0])
    for name, marks, note in zip(sheet.names, sheet.panels[0].marks, sheet.panels[0].notes, strict=True):
        ((low, high, middle, lower, upper, filled, shape, *_),) = marks
        band = 100 * cells["resets"].sel(anchor=name, seabed=first).to_numpy()
        assert (low, lower, middle, upper, high) == pytest.approx(tuple(band))
        assert (filled, note, shape) == (name == tried, "5 of 7" if name == tried else "none", "dot")
    assert set(sheet.panels[2].notes) == {"3"}
    assert sheet.limits == (0.0, 100.0) and not sheet.logarithmic
    words = " ".join(text.get_text() for text in interval_figure(sheet).texts)
    for part in ("after a reversal of 180°", "share of a straight pull's capacity", "no", "stand clear"):
        assert part in words
    names = [path.name for path in save_setting_again(cells, tmp_path)]
    assert names == [f"setting_again{end}" for end in (".svg", ".png", "-narrow.svg", "-narrow.png")]
    assert len(setting_again_svgs(cells)) == 1


def test_one_kind_of_test_alone_has_a_title_of_its_own(make_cells):
    cells = with_setting(make_cells(3, 2))
    assert setting_again_sheet(cells.drop_vars("veer_kept")).title == "Setting again after a reversal"
    assert setting_again_sheet(cells.drop_vars("resets")).title == "What a turn under load leaves"

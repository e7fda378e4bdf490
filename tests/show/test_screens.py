"""What stands on one screen: the grid of pulls, tables of many columns, and lines while a fit runs."""

import io
import sys

import pandas as pd
import pytest

from holdcast.commands.shared.progress_bar import watched
from holdcast.show.figures.pull_grid import pull_grid_figure, save_pull_grid
from holdcast.show.text.plain_table import tables_side_by_side
from holdcast.show.text.pull_grid import pull_counts, pull_grid_lines


def grid(anchors=3):
    names = [f"B {number} kg" for number in range(anchors, 0, -1)]
    of_anchors = pd.DataFrame({"form": ["scoop"] * (anchors - 1) + ["claw"]}, index=names)
    of_seabeds = pd.DataFrame(index=["mud", "very hard <sand>"])
    trials = pd.DataFrame(
        [("B 3 kg", "mud", "pull", "used")] * 5
        + [("B 3 kg", "mud", "pull", "excluded"), ("B 2 kg", "mud", "reset", "used")]
        + [("B 1 kg", "very hard <sand>", "pull", "used")],
        columns=["anchor", "seabed", "test", "status"],
    )
    return pull_counts(of_anchors, of_seabeds, trials)


def test_the_grid_counts_used_pulls_by_form_and_name():
    counts = grid()
    assert counts.index.tolist() == ["B 1 kg", "B 2 kg", "B 3 kg"]  # the claw first
    assert counts.to_numpy().tolist() == [[0, 1], [0, 0], [5, 0]]
    lines = pull_grid_lines(counts, width=80)
    assert lines[0] == "Pulls that count, by anchor and seabed. 4 of 6 cells have none (.)."
    assert lines[-1].split() == ["B", "3", "kg", "5", "."]
    assert pull_grid_lines(grid(40), width=80)[-1].startswith("… and 10 anchors more")


def test_the_picture_of_the_grid_has_a_number_a_pulled_cell(tmp_path):
    (axes,) = pull_grid_figure(grid(), "A campaign").axes
    texts = [text.get_text() for text in axes.texts]
    assert [text for text in texts if text.isdigit()] == ["1", "5"] and "B 2 kg" in texts
    for name in ("a.svg", "b.svg", "c.png"):
        save_pull_grid(grid(), tmp_path / name)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert (tmp_path / "c.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("width", [30, 50, 80, 140])
def test_tables_of_many_columns_keep_cells_whole(width):
    header = ["anchor", *(f"a seabed with name {n}" for n in range(9))]
    rows = [[f"A-{r}", *(f"{r}.{n} 10.0-20.0" for n in range(9))] for r in range(3)]
    lines = tables_side_by_side(header, rows, first=1, width=width)
    assert max(map(len, lines)) <= width
    for row in rows:
        for cell in row[1:]:
            assert sum(cell in line for line in lines) == 1


def test_lines_are_told_as_they_come_where_nobody_looks_on(monkeypatch):
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    told = []
    with watched(told.append) as tell:
        tell("reading")
        tell("sampling: 10% of 4 chains, 2 running, 0 divergences")
    assert told == ["reading", "sampling: 10% of 4 chains, 2 running, 0 divergences"]


def test_a_person_sees_one_bar_and_the_other_lines_above_it(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("TERM", "xterm")
    told = []
    with watched(told.append) as tell:
        tell("compiling [bold]the model[/bold] \x1b[31m")
        for tenth in range(0, 101, 10):
            tell(f"sampling: {tenth}% of 4 chains, 2 running, 0 divergences")
        tell("drawing from the prior")
    shown = screen.getvalue()
    assert not told and "compiling [bold]the model[/bold] \\x1b[31m" in shown and "\x1b[31m" not in shown
    assert "drawing from the prior" in shown and "100%" in shown and "left" in shown
    assert "2 running" not in shown

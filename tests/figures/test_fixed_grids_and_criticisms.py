"""The grid of pulls and the model check in the shapes of films and web pages: all on the paper, all once."""

import struct

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from invented_criticism import invented, setting

from holdcast.show.figures.criticism import save_criticism_figures
from holdcast.show.figures.fixed.criticisms import fixed_criticisms
from holdcast.show.figures.fixed.pull_grids import fixed_pull_grids
from holdcast.show.figures.pull_grid import save_pull_grid
from holdcast.show.figures.sheet import PictureSize

PIXELS = {"wide": (1920, 1080), "square": (1080, 1080), "phone": (1080, 1920)}
LEAST_POINTS = 6.5
SIZES = list(PictureSize)


def texts_of(figure):
    ticks = [
        label
        for axes in figure.axes
        if axes.axison
        for label in (*axes.get_xticklabels(), *axes.get_yticklabels())
    ]
    return [*figure.texts, *ticks, *(text for axes in figure.axes for text in axes.texts)]


def check_paper(figure, size):
    figure.canvas.draw()
    across, down = PIXELS[size]
    assert tuple(figure.get_size_inches() * figure.dpi) == pytest.approx((across, down))
    for text in texts_of(figure):
        if text.get_text() and text.get_visible():
            assert text.get_size() >= LEAST_POINTS, text.get_text()
            box = text.get_window_extent()
            assert box.x0 >= 0 and box.x1 <= across and box.y0 >= 0 and box.y1 <= down, text.get_text()
    foot = min(t.get_window_extent().y0 for t in figure.texts)
    lines = [t for t in figure.texts if t.get_window_extent().y1 < down / 2]
    assert foot >= 0 and all(
        axes.get_window_extent().y0 >= max(t.get_window_extent().y1 for t in lines) for axes in figure.axes
    )


def counts_of(anchors, seabeds, seed=1):
    """More than one word a seabed, more than one pull a cell; some cells empty."""
    beds = ["inner basin mud", "creek silt", "weedy shelf clay", "shell patch", "north bar sand", "spit"]
    names = [f"{beds[i % 6]}{'' if i < 6 else ' ' + str(i)}" for i in range(seabeds)]
    pulls = np.random.default_rng(seed).poisson(1.5, (anchors, seabeds))
    return pd.DataFrame(pulls, index=[f"A-{place:02d}" for place in range(anchors)], columns=names)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    ("anchors", "seabeds"), [(1, 1), (60, 8), pytest.param(45, 30, marks=pytest.mark.long)]
)
def test_every_cell_of_the_grid_is_shown_once(size, anchors, seabeds):
    counts = counts_of(anchors, seabeds)
    figures = fixed_pull_grids(counts, size, "An invented log")
    if (anchors, seabeds) == (60, 8):
        assert len(figures) == {"wide": 2, "square": 3, "phone": 4}[size]  # a large grid takes few
    shown = []
    for number, figure in enumerate(figures, start=1):
        check_paper(figure, size)
        words = " ".join(text.get_text() for text in figure.texts)
        assert (f"({number}/{len(figures)})" in words) == (len(figures) > 1)
        assert f"of {counts.size} cells are holes" in words and "An invented log" in words
        for axes in figure.axes:
            texts = [text.get_text().replace("\n", " ") for text in axes.texts]
            rows = [text for text in texts if text in counts.index]
            columns = [text for text in texts if text in counts.columns]
            assert len(axes.patches) == int((counts.loc[rows, columns] > 0).to_numpy().sum())
            numbers = sorted(int(text) for text in texts if text.isdigit())
            pulls = counts.loc[rows, columns].to_numpy().ravel()
            assert numbers == sorted(pulls[pulls > 0])
            shown += [(row, column) for row in rows for column in columns]
    assert len(shown) == len(set(shown)) == counts.size


def test_the_grid_goes_beside_the_file_that_was_named(tmp_path):
    paths = save_pull_grid(counts_of(4, 2), tmp_path / "mine.png", "", ["wide"])
    assert [path.name for path in paths] == ["mine.png", "mine-wide.svg", "mine-wide.png"]
    assert struct.unpack(">II", paths[2].read_bytes()[16:24]) == PIXELS["wide"]
    assert sorted(tmp_path.iterdir()) == sorted(paths)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("seabeds", [3, 18])
def test_every_panel_of_the_check_is_shown_once(size, seabeds):
    answer = invented()._replace(setting=setting())
    if seabeds > 3:
        parts = [
            answer.scatter.assign_coords(
                seabed=[f"{name} {part}" for name in answer.scatter["seabed"].values]
            )
            for part in range(6)
        ]
        answer = answer._replace(scatter=xr.concat(parts, "seabed"))
    figures = fixed_criticisms(answer, size, reliable=False)
    said = []
    for number, figure in enumerate(figures, start=1):
        check_paper(figure, size)
        words = " ".join(text.get_text() for text in figure.texts)
        assert f"({number}/{len(figures)})" in words and "UNRELIABLE" in words
        assert all("UNRELIABLE" in [text.get_text() for text in axes.texts] for axes in figure.axes)
        said += [text.get_text() for axes in figure.axes for text in axes.texts]
    joined = " ".join(said)
    for name in ("date [days]: new visit", "scope: new visit", "expected load [kN]: left out"):
        assert joined.count(name) == 1
    assert sum(text.startswith(("spread ", "too few pulls")) for text in said) == seabeds
    marks = [axes for figure in figures for axes in figure.axes if axes.get_xlim() == (-0.05, 1.06)]
    assert len(marks) == 1


def test_a_log_with_no_chance_and_no_look_has_its_seabeds():
    answer = invented()
    skipped = answer.trends["skipped"].copy(data=["not measured"] * answer.trends.sizes["covariate"])
    (figure,) = fixed_criticisms(answer._replace(trends=answer.trends.assign(skipped=skipped)), "square")
    assert "By seabed" in " ".join(text.get_text() for text in figure.texts)


def test_the_check_is_written_in_the_shapes_asked_for(tmp_path):
    paths = save_criticism_figures(invented(), tmp_path, sizes=["phone"])
    assert {"criticism.svg", "criticism-narrow.png", "criticism-phone-1.svg"} <= {p.name for p in paths}

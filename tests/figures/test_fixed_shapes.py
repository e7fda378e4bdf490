"""Pictures for films and web pages: exact shapes, letters one can read, every row once, cautions on each."""

import struct

import numpy as np
import pytest

from holdcast.show.figures.fixed.sheets import fixed_figures, save_fixed
from holdcast.show.figures.intervals import save_figure
from holdcast.show.figures.paper import drop_figure, svg_text
from holdcast.show.figures.picture_measures import MARGIN, evenly
from holdcast.show.figures.sheet import TESTED_KEY, Mark, Panel, PictureSize, Sheet
from holdcast.show.text.cautions import CAUTION_OF_PICTURES, CAUTIONS
from holdcast.show.text.sentences import ORDER_NOTE

PIXELS = {"wide": (1920, 1080), "square": (1080, 1080), "phone": (1080, 1920)}
LEAST_POINTS = 6.5
SIZES = list(PictureSize)


def sheet_of(anchors=21, seabeds=7, reading="Load at the anchor in kN.", **changes):
    names = [f"A-{place:02d}" for place in range(anchors)]
    marks = [
        (Mark(1.0 + place, 9.0 + place, 3.0 + place, 2.0 + place, 5.0 + place),) for place in range(anchors)
    ]
    return Sheet(
        title="Holding capacity in test pulls",
        reading=(reading,),
        headings=[("claw", "plough", "scoop")[3 * place // anchors] for place in range(anchors)],
        names=names,
        panels=[
            Panel(f"seabed {s}", marks, ["none"] * anchors, "silt, low strength") for s in range(seabeds)
        ],
        limits=(0.9, 9.0 * anchors),
        logarithmic=True,
        note_heading="pulls",
        foot=(
            " ".join(CAUTIONS),
            "An invented log; by nobody; newest trial 2026-05-01; holdcast 0; licence none",
        ),
        order=ORDER_NOTE,
        subtitle="An invented log",
        key=(*TESTED_KEY, (None, "dot: median; bar: 50% band; line: 90% band")),
        **changes,
    )


def texts_of(figure):
    ticks = [label for axes in figure.axes if axes.axison for label in axes.get_xticklabels()]
    return [*figure.texts, *ticks, *(text for axes in figure.axes for text in axes.texts)]


@pytest.mark.parametrize("size", SIZES)
def test_the_shape_is_exact(size, tmp_path):
    paths = save_fixed(sheet_of(4, 1), tmp_path, "capacity", [size])
    assert [path.name for path in paths] == [f"capacity-{size}.svg", f"capacity-{size}.png"]
    assert struct.unpack(">II", paths[1].read_bytes()[16:24]) == PIXELS[size]  # PNG specification, 11.2.2
    width, height = map(float, paths[0].read_text().split('viewBox="0 0 ')[1].split('"')[0].split())
    assert width / height == pytest.approx(PIXELS[size][0] / PIXELS[size][1], rel=1e-4)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("anchors", "seabeds"), [(1, 1), (3, 5), (40, 1)])
def test_letters_are_readable_and_stay_on_the_paper(size, anchors, seabeds):
    for figure in fixed_figures(sheet_of(anchors, seabeds), size):
        figure.canvas.draw()
        width, height = figure.get_size_inches() * figure.dpi
        for text in texts_of(figure):
            if not text.get_text() or not text.get_visible():
                continue
            assert text.get_size() >= LEAST_POINTS
            box = text.get_window_extent()
            assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height, text.get_text()
        # No panel reaches into the foot.
        foot = max(t.get_window_extent().y1 for t in figure.texts if t.get_text().startswith("Rows stand"))
        panels = [axes for axes in figure.axes if axes.get_xscale() == "log"]
        assert all(axes.get_window_extent().y0 >= foot - 1 for axes in panels)


@pytest.mark.parametrize("size", SIZES)
def test_every_row_of_every_panel_is_shown_once(size):
    sheet, shown = sheet_of(26, 7), []
    figures = fixed_figures(sheet, size)
    for number, figure in enumerate(figures, start=1):
        words = [text.get_text() for text in texts_of(figure)]
        assert f"({number}/{len(figures)})" in " ".join(words)
        names = [word for word in words if word in sheet.names]
        seabeds = [word for word in words if word.startswith("seabed ")]
        medians = sum(len(line.get_xdata()) for axes in figure.axes for line in axes.lines)
        key = 2  # the samples of the key have a median each
        assert medians - key == len(set(names)) * len(seabeds) and names
        shown += [(seabed, name) for seabed in seabeds for name in dict.fromkeys(names)]
    assert len(shown) == len(set(shown)) == 26 * 7


@pytest.mark.parametrize("size", SIZES)
def test_panels_keep_within_the_margin(size):
    for figure in fixed_figures(sheet_of(21, 7, least_panel=0.7), size):
        figure.canvas.draw()
        right = figure.get_size_inches()[0] * figure.dpi - 0.9 * MARGIN * figure.dpi
        for axes in figure.axes:
            assert axes.get_window_extent().x1 <= right
            assert all(
                text.get_window_extent().x1 <= right for text in axes.texts if text.get_ha() == "right"
            )


def test_a_square_holds_several_seabeds_of_many_anchors():
    """Few enough to show one after the other."""
    assert [len(fixed_figures(sheet_of(21, 7, least_panel=0.7), size)) for size in SIZES] == [4, 6, 4]


@pytest.mark.parametrize("size", SIZES)
def test_each_picture_carries_bands_and_cautions(size):
    figures = fixed_figures(sheet_of(8, 2, reliable=False), size)
    for figure in figures:
        words = " ".join(text.get_text() for text in texts_of(figure))
        assert CAUTION_OF_PICTURES in words and "never by capacity" in words
        assert "holdcast 0" in words and "90% band" in words
        assert words.count("UNRELIABLE") >= 2  # above, and across each panel
    assert len({svg_text(figure) for figure in figures}) == len(figures)


def test_a_later_answer_leaves_no_picture_of_an_earlier_one(tmp_path):
    many = save_figure(sheet_of(14, 2), tmp_path, "rank", ["square", "wide"])
    assert len(many) == len(set(many)) and all(path.exists() for path in many)
    other = tmp_path / "rank-wider-1.svg"
    other.touch()
    few = save_figure(sheet_of(3, 1), tmp_path, "rank", ["square"])
    assert sorted(tmp_path.iterdir()) == sorted([*few, other])
    drop_figure(tmp_path, "rank")
    assert list(tmp_path.iterdir()) == [other]


def test_the_same_sheet_gives_the_same_bytes(tmp_path):
    one, two = (
        [path.read_bytes() for path in save_fixed(sheet_of(5, 2), tmp_path / part, "x", ["wide"])]
        for part in ("one", "two")
    )
    assert one == two


@pytest.mark.parametrize(("number", "most"), [(1, 1), (7, 3), (21, 8), (5, 9), (100, 7)])
def test_runs_are_even_and_hold_all(number, most):
    runs = evenly(number, most)
    lengths = [run.stop - run.start for run in runs]
    assert max(lengths) <= most and max(lengths) - min(lengths) <= 1 and len(runs) == -(-number // most)
    assert np.concatenate([np.arange(number)[run] for run in runs]).tolist() == list(range(number))

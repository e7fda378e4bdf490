"""The capacity figure: one band a cell, tested and untested told apart by shape, the same bytes always."""

from itertools import pairwise

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.collections import LineCollection

from holdcast.show.figures.capacity import anchor_pages, capacity_figure, figure_svgs, save_figures
from holdcast.show.figures.intervals import interval_figure
from holdcast.show.figures.picture_measures import label_rows, load_ticks, panel_grid
from holdcast.show.figures.sheet import TESTED_KEY, Mark, Panel, Sheet


@pytest.fixture
def cells(make_cells):
    """A small campaign: drawing takes time."""
    return make_cells(9, 3)


def texts(figure):
    return [text.get_text() for text in figure.texts] + [
        t.get_text() for axes in figure.axes for t in axes.texts
    ]


def panels(figure):
    return [axes for axes in figure.axes if axes.get_xscale() == "log"]


def medians(axes, word):
    lines = [line for line in axes.lines if line.get_label() == f"median, {word}"]
    return np.concatenate([line.get_xdata() for line in lines]) if lines else np.array([])


@pytest.mark.parametrize("narrow", [False, True])
def test_one_band_a_cell_in_its_own_kind(cells, narrow):
    figure = capacity_figure(cells, narrow=narrow)
    assert len(panels(figure)) == cells.sizes["seabed"]
    for axes, seabed in zip(panels(figure), cells["seabed"].to_numpy(), strict=True):
        here = cells.sel(seabed=seabed)
        for word, evidence in (("filled", "tested"), ("hollow", "untested")):
            expected = (
                here["capacity_n"].sel(quantile=0.5).to_numpy()[(here["evidence"] == evidence).to_numpy()]
            )
            assert sorted(medians(axes, word)) == pytest.approx(sorted(expected / 1000), rel=1e-12)
            bars = [bar for box in axes.containers if box.get_label() == f"50% band, {word}" for bar in box]
            assert len(bars) == len(expected)
            (lines,) = (c for c in axes.collections if c.get_label() == f"90% band, {word}")
            assert isinstance(lines, LineCollection)
            assert len(lines.get_segments()) == len(expected)


def test_bands_are_drawn_at_the_quantiles_in_the_row_of_their_anchor(make_cells):
    cells = make_cells(5, 1)
    (axes,) = panels(capacity_figure(cells, "us"))
    centre = {t.get_text(): t.get_position()[1] for t in axes.texts}
    drawn = {}
    for word in ("filled", "hollow"):
        for segments in (c.get_segments() for c in axes.collections if c.get_label() == f"90% band, {word}"):
            drawn |= {round(float(s[0, 1]), 6): s[:, 0] for s in segments}
    for anchor in cells["anchor"].to_numpy():
        ends = (
            cells["capacity_n"].sel(anchor=anchor, quantile=[0.05, 0.95]).to_numpy().ravel() / 4.4482216152605
        )
        assert drawn[round(centre[anchor], 6)] == pytest.approx(ends, rel=1e-9)


def test_tested_and_untested_differ_without_colour(cells):
    axes = panels(capacity_figure(cells))[0]
    faces = {line.get_label(): line.get_markerfacecolor() for line in axes.lines}
    assert faces["median, hollow"] == "white"
    assert faces["median, filled"] != "white"
    dashes = {c.get_label(): c.get_linestyle()[0][1] for c in axes.collections if "90%" in str(c.get_label())}
    assert dashes["90% band, filled"] is None
    assert dashes["90% band, hollow"] is not None


def test_rows_go_by_form_and_name(cells):
    (axes, *_) = panels(capacity_figure(cells))
    named = {
        name: t.get_position()[1]
        for t in axes.texts
        if (name := t.get_text()) in set(cells["anchor"].to_numpy())
    }
    forms = dict(zip(cells["anchor"].to_numpy(), cells["form"].to_numpy(), strict=True))
    order = sorted(named, key=named.__getitem__)
    assert order == sorted(named, key=lambda name: (forms[name], name.split()[0]))
    assert len(order) == cells.sizes["anchor"]


@pytest.mark.parametrize("narrow", [False, True])
def test_cautions_version_and_order_stand_in_the_figure(cells, narrow):
    drawn = " ".join(texts(capacity_figure(cells, narrow=narrow)))
    for part in (
        "not a guarantee",
        "stand clear",
        "newest trial 2026-08-30",
        "holdcast 0.1.0",
        "never by capacity",
    ):
        assert part in drawn


@pytest.mark.parametrize("narrow", [False, True])
def test_nothing_is_drawn_outside_the_picture(make_cells, narrow):
    cells = make_cells(6, 5)
    names = ["A " + "very long name of an anchor with a bolt-on part " * 2, *cells["anchor"].to_numpy()[1:]]
    figure = capacity_figure(cells.assign_coords(anchor=names), narrow=narrow)
    figure.canvas.draw()
    width, height = figure.bbox.width, figure.bbox.height
    for text in [*figure.texts, *(t for axes in figure.axes for t in axes.texts)]:
        box = text.get_window_extent()
        assert box.x0 >= 0 and box.x1 <= width + 0.5, text.get_text()
        assert box.y0 >= 0 and box.y1 <= height + 0.5, text.get_text()


def test_unreliable_stands_in_every_panel(cells):
    figure = capacity_figure(cells, reliable=False)
    assert sum(text == "UNRELIABLE" for text in texts(figure)) == cells.sizes["seabed"]
    assert any(text.startswith("UNRELIABLE: ") for text in texts(figure))
    assert not any("UNRELIABLE" in text for text in texts(capacity_figure(cells)))


def test_names_are_drawn_as_they_are(make_cells):
    cells = make_cells(3, 1).assign_coords(anchor=["$x_1$ <b>", r"\frac{a}", "錨 \x1b"])
    cells.attrs["title"] = "$5 & <i>"
    figure = capacity_figure(cells)
    assert {"$x_1$ <b>", r"\frac{a}", "錨 \\x1b", "$5 & <i>"} <= set(texts(figure))
    assert not any(t.get_parse_math() for axes in figure.axes for t in axes.texts)
    assert all(not t.get_parse_math() for t in figure.texts)
    assert figure_svgs(cells)[0][0].startswith("<?xml")


def test_same_cells_same_bytes_whatever_the_users_settings(make_cells, tmp_path):
    cells = make_cells(3, 1)
    first = save_figures(cells, tmp_path / "a")
    with mpl.rc_context({"font.size": 30, "svg.hashsalt": "other", "axes.facecolor": "red"}):
        before = dict(mpl.rcParams)
        second = save_figures(cells, tmp_path / "b")
        assert dict(mpl.rcParams) == before
    assert [path.name for path in first] == [
        "capacity.svg",
        "capacity.png",
        "capacity-narrow.svg",
        "capacity-narrow.png",
    ]
    for one, other in zip(first, second, strict=True):
        assert one.read_bytes() == other.read_bytes()
    assert b"<dc:date>" not in first[0].read_bytes()


def test_many_anchors_go_on_pages_that_share_the_axis(make_cells):
    cells = make_cells(150, 7)
    pages = anchor_pages(cells)
    assert [page.sizes["anchor"] for page in pages] == [38, 38, 37, 37]
    assert sorted(str(a) for page in pages for a in page["anchor"].to_numpy()) == sorted(
        cells["anchor"].to_numpy()
    )
    forms = [form for page in pages for form in page["form"].to_numpy()]
    assert forms == sorted(forms)
    assert len(anchor_pages(make_cells(45, 1))) == 1
    figure = capacity_figure(pages[0].isel(seabed=[0]), limits_n=(10.0, 1e5))
    assert panels(figure)[0].get_xlim() == pytest.approx((0.01, 100))


def test_layout_arithmetic():
    assert [panel_grid(n, 4) for n in (1, 4, 5, 7, 9)] == [(1, 1), (1, 4), (2, 3), (2, 4), (3, 3)]
    assert load_ticks(0.4, 6, 9) == [0.5, 1, 2, 5]
    assert load_ticks(0.09, 40, 6) == pytest.approx([0.1, 0.3, 1, 3, 10, 30])
    assert load_ticks(0.009, 4000, 6) == pytest.approx([0.01, 0.1, 1, 10, 100, 1000])
    rows = label_rows(["claw", "claw", "stock"], ["a", "b", "c"], lambda name: [name])
    assert [row.place for row in rows] == [None, 0, 1, None, 2]
    assert all(after.top == pytest.approx(row.top + row.height) for row, after in pairwise(rows))


def test_the_key_shows_the_marks_of_the_sheet():
    """A picture without 50% bands has none in its key."""
    plain = Sheet(
        title="T", reading=(), headings=["", ""], names=["a", "b"], limits=(1.0, 10.0), logarithmic=True,
        panels=[Panel("p", [[Mark(1, 3, 2)], [Mark(2, 4, 3, filled=False)]], ["", ""])], note_heading="",
        foot=("where from",), key=TESTED_KEY,
    )  # fmt: skip
    marks = [[Mark(1, 3, 2, 1.5, 2.5)], [Mark(2, 4, 3, 2.5, 3.5, filled=False)]]
    barred = plain._replace(panels=[Panel("p", marks, ["", ""])])
    assert [len(interval_figure(sheet).axes[0].patches) for sheet in (plain, barred)] == [0, 2]
    assert {"tested: pulled here", "untested: predicted, nobody pulled"} <= set(texts(interval_figure(plain)))


def test_every_sheet_fits_a_phone_and_a_page():
    names = ["a very long name of a row that nobody would choose " * 2, "b"]
    marks = [[Mark(1, 3, 2, 1.5, 2.5)], [Mark(np.nan, np.nan)]]
    sheet = Sheet(
        title="A title of some length, so that it has to break on a phone", reading=("One.", "Two."),
        headings=["one group", "other"], names=names, limits=(0.0, 5.0), logarithmic=False, ticks=(0, 1, 5),
        panels=[Panel(f"panel {n}", marks, ["9", "none"], "what it is") for n in range(5)], note_heading="n",
        foot=("foot " * 40, "where from"), reference=2.0, order="In order.", reliable=False,
    )  # fmt: skip
    for narrow in (False, True):
        figure = interval_figure(sheet, narrow=narrow)
        figure.canvas.draw()
        assert len(figure.axes) == 5
        for text in [*figure.texts, *(t for axes in figure.axes for t in axes.texts)]:
            box = text.get_window_extent()
            assert box.x0 >= 0 and box.x1 <= figure.bbox.width + 0.5, text.get_text()
            assert box.y0 >= 0 and box.y1 <= figure.bbox.height + 0.5, text.get_text()
    with pytest.raises(ValueError, match="needs 2 rows"):
        interval_figure(sheet._replace(panels=[Panel("p", marks[:1], ["9"])]))

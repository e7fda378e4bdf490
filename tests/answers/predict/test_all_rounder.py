"""All-rounders: the same chance as rank and cells give, the least of all seabeds, and the picture of it."""

import json
from dataclasses import replace

import numpy as np
import pytest

from holdcast.answers.cells.cells import cells
from holdcast.answers.rank.all_rounder import all_rounder
from holdcast.answers.rank.rank import every_seabed
from holdcast.commands.published.pictures import all_rounder_of
from holdcast.physics.units import GRAVITY
from holdcast.show.figures.intervals import interval_figure
from holdcast.show.figures.paper import svg_text
from holdcast.show.text.numbers import format_chance
from holdcast.show.views.all_rounder import all_rounder_sheet

THRESHOLD = 12.0


@pytest.fixture(scope="module")
def fit_with_threshold(world_fit):
    tree = world_fit.tree.copy()
    tree["prior"] = world_fit.posterior  # the worlds are draws from the prior
    tree.attrs["thresholds"] = json.dumps({"efficiency": THRESHOLD})
    return replace(world_fit, tree=tree)


@pytest.fixture(scope="module")
def answer(fit_with_threshold):
    return all_rounder_of(fit_with_threshold)


def test_one_chance_from_rank_cells_and_page(fit_with_threshold, answer):
    ranked = every_seabed(fit_with_threshold, THRESHOLD)
    np.testing.assert_array_equal(answer["p_every"], ranked["p_every"])
    np.testing.assert_allclose(answer["p_here"], cells(fit_with_threshold)["above_threshold"], rtol=1e-12)
    assert 0.0 < float(answer["p_every"].max()) < 1.0
    seabeds = [str(name) for name in answer["seabed"].to_numpy()]
    for seabed in seabeds:
        alone = all_rounder(fit_with_threshold, THRESHOLD, without=[s for s in seabeds if s != seabed])
        np.testing.assert_allclose(alone["p_every"], answer["p_here"].sel(seabed=seabed), rtol=1e-12)


def test_the_least_is_taken_draw_by_draw(fit_with_threshold, answer):
    """Witness: numpy alone, over the stored draws."""
    log_capacity = fit_with_threshold.posterior["log_capacity"].transpose("anchor", "seabed", ...).to_numpy()
    mass = fit_with_threshold.tree["anchors"]["mass_kg"].to_numpy()
    ratio = np.exp(log_capacity.reshape(*log_capacity.shape[:2], -1)) / (mass * GRAVITY)[:, None, None]
    least = np.quantile(ratio.min(axis=1), [0.05, 0.25, 0.5, 0.75, 0.95], axis=-1).T
    np.testing.assert_allclose(answer["least_efficiency"], least, rtol=1e-9)
    np.testing.assert_allclose(answer["median_efficiency"], np.median(ratio, axis=-1), rtol=1e-9)
    # Below the least of the medians, since it is the least in each draw.
    assert (least[:, 2] <= np.median(ratio, axis=-1).min(axis=1) + 1e-9).all()


def test_no_threshold_no_answer(world_fit):
    assert all_rounder_of(world_fit) is None


def test_the_picture_shows_threshold_bands_seabeds_and_chances(answer):
    sheet = all_rounder_sheet(answer)
    assert sheet.reference == THRESHOLD and len(sheet.names) == answer.sizes["anchor"]
    for name, (mark,), note in zip(sheet.names, sheet.panels[0].marks, sheet.panels[0].notes, strict=True):
        anchor = answer.sel(anchor=name)
        assert note == format_chance(float(anchor["p_every"]))
        assert (mark.low, mark.middle, mark.high) == tuple(
            anchor["least_efficiency"].sel(quantile=[0.05, 0.5, 0.95]).to_numpy()
        )
        assert sorted(mark.strokes) == sorted(anchor["median_efficiency"].to_numpy().tolist())
        assert mark.filled is bool(anchor["tested"].all())
    text = svg_text(interval_figure(sheet))
    assert "efficiency above 12 in every seabed" in text and "not a safety factor" in text
    assert sum(mark.low <= stroke for (mark,) in sheet.panels[0].marks for stroke in mark.strokes) > 0


def test_strokes_are_drawn_above_the_line(answer):
    figure = interval_figure(all_rounder_sheet(answer))
    axes = next(axes for axes in figure.axes if axes.get_xscale() == "log")
    cells_drawn = answer.sizes["anchor"] * answer.sizes["seabed"]
    drawn = [lines for lines in axes.collections if hasattr(lines, "get_segments")]
    assert any(len(lines.get_segments()) == cells_drawn for lines in drawn)

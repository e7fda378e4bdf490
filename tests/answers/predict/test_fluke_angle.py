"""Fluke angles in what is asked: one anchor at two angles differs by the ground's slope in each draw."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from holdcast.answers.draws.capacity import log_capacity
from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.explain.band_sources import band_sources
from holdcast.answers.features.features import STEEPER, measurement_effects
from holdcast.answers.predict.predict import anchor_of_request, predict, seabed_of_request
from holdcast.answers.predict.requests import complete_requests
from holdcast.answers.sizes.one_shape import any_size_of_design, typical_configuration
from holdcast.capacity import Fit
from holdcast.physics.ground.fluke_angle import PUBLISHED_GAIN

from .conftest import ANCHORS, SEABEDS, _campaign, _fit, _prior_draws, _trials

ANGLES = {"A-06": "32", "A-10": "32", "A-10-bare": "47", "B-12": "", "C-14": "42"}
MUD, SAND = {"seabed": "mud"}, {"seabed": "sand"}
ELSEWHERE = {"seabed": "elsewhere", "soil": "gravel", "strength": "dense"}


@pytest.fixture(scope="module")
def angle_fit(tmp_path_factory: pytest.TempPathFactory) -> Fit:
    head, *rows = ANCHORS.splitlines()
    anchors = [f"{row},{ANGLES[row.split(',')[0]]}" for row in rows]
    table = "\n".join([f"{head},fluke_angle_deg", *anchors]) + "\n"
    folder: Path = tmp_path_factory.mktemp("angles")
    campaign = _campaign(folder / "known", table, SEABEDS, _trials(ANCHORS, SEABEDS))
    drawn = _prior_draws(campaign, 400)
    fit = _fit(campaign, drawn)
    tree = fit.tree.copy()
    tree["prior"] = drawn
    return Fit(tree, fit.verdict)


def asked(draws: Draws, angle_deg: float, place: dict[str, str], **more: object) -> np.ndarray:
    request = {"anchor": "mine", "design": "A", "mass_kg": 9.0, "tip_load_kg": 3.0, "fluke_area_m2": 0.08}
    table = pd.DataFrame([{**request, "fluke_angle_deg": angle_deg, **place, **more}], index=["q"])
    row = complete_requests(draws, table).iloc[0]
    return log_capacity(draws, anchor_of_request(draws, row), seabed_of_request(draws, row))


@pytest.mark.parametrize(("place", "ground"), [(MUD, 0), (SAND, 2), (ELSEWHERE, 2)])
def test_another_angle_is_the_slope_of_the_ground(angle_fit: Fit, place: dict[str, str], ground: int) -> None:
    draws = draws_of(angle_fit)
    difference = asked(draws, 62.0, place) - asked(draws, 47.0, place)
    np.testing.assert_allclose(
        difference, draws["fluke_angle_slope"][:, ground], atol=0.02
    )  # mud is firm by 1 in 200


def test_an_angle_that_is_not_given_is_the_mean_of_the_design_and_is_said(angle_fit: Fit) -> None:
    draws = draws_of(angle_fit)
    np.testing.assert_allclose(asked(draws, np.nan, SAND), asked(draws, 37.0, SAND), atol=1e-12)
    rows = [
        {"design": "A", "mass_kg": 9.0, "seabed": "sand"},
        {"design": "A", "mass_kg": 9.0, "seabed": "sand", "fluke_angle_deg": 32.0},
        {"design": "B", "mass_kg": 9.0, "seabed": "sand", "fluke_angle_deg": 32.0},
        {"design": "A", "mass_kg": 10.0, "seabed": "sand", "fluke_angle_deg": 60.0},
        {"anchor": "A-10-bare", "seabed": "sand"},
    ]
    answer = predict(angle_fit, pd.DataFrame(rows, index=list("abcde")))
    said = dict(zip("abcde", answer["assumed"].to_numpy().astype(str), strict=True))
    assert "fluke angle not given: the mean of its design" in said["a"]
    assert "fluke angle" not in said["b"] + said["e"]
    assert "fluke angle not used: none of its design to compare with" in said["c"]
    outside = dict(zip("abcde", answer["outside"].to_numpy().astype(str), strict=True))
    assert outside["d"].endswith("fluke 13° steeper than any tested of its design")
    assert "fluke" not in outside["b"] + outside["e"]
    assert answer["basis"].sel(request="d").item() == "new configuration"


def test_a_log_of_one_angle_leaves_the_prior_to_speak(world_fit: Fit) -> None:
    """Of the anchors' table alone: the log knows the angle of design A, and nobody pulled another."""
    tree = world_fit.tree.copy()
    anchors = tree["anchors"].to_dataset()
    tree["anchors"] = anchors.assign(fluke_angle_deg=("anchor", np.full(anchors.sizes["anchor"], 32.0)))
    draws = draws_of(Fit(tree, world_fit.verdict))
    difference = asked(draws, 47.0, SAND) - asked(draws, 32.0, SAND)
    spread = 0.25  # the prior's
    assert difference.mean() == pytest.approx(PUBLISHED_GAIN["granular"], abs=4 * spread / np.sqrt(2000))
    assert difference.std() == pytest.approx(spread, rel=0.1)


def test_what_a_steeper_fluke_does_is_shown_by_seabed(angle_fit: Fit) -> None:
    effects = measurement_effects(angle_fit)
    factor = effects["factor"].sel(effect=STEEPER, quantile=0.5, seabed="sand")
    slope = draws_of(angle_fit)["fluke_angle_slope"][:, 2]
    assert float(factor) == pytest.approx(np.median(np.exp(slope)), rel=1e-6)
    assert np.isfinite(effects["contraction"]).all()


def test_the_angle_has_its_share_of_a_band(angle_fit: Fit) -> None:
    shares = band_sources(angle_fit, "A-10-bare", "sand")["share"]
    assert "fluke angle" in shares["part"]
    assert "fluke angle" not in band_sources(angle_fit, "B-12", "mud")["part"]


def test_a_curve_over_sizes_is_of_one_angle(angle_fit: Fit) -> None:
    draws = draws_of(angle_fit)
    family = typical_configuration(draws, "A")
    assert len(set(family["fluke_angle_deg"])) == 1
    steps = any_size_of_design(draws, "A").fluke_angle_steps
    assert steps == pytest.approx((family["fluke_angle_deg"].iloc[0] - 37.0) / 15.0)

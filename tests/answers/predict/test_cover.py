"""Covers in what is asked: a new seabed takes what its cover does in each draw, or the prior's."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.draws.seabeds import SeabedDraws, known_seabed
from holdcast.answers.predict.predict import predict, seabed_of_request
from holdcast.answers.predict.requests import complete_requests
from holdcast.capacity import Fit

from .conftest import ANCHORS, SEABEDS, _campaign, _fit, _prior_draws, _trials

COVER_OF = {"mud": "weed", "silt": "none", "clay": "cobble", "sand": ""}


@pytest.fixture(scope="module")
def cover_fit(tmp_path_factory: pytest.TempPathFactory) -> Fit:
    head, *rows = SEABEDS.splitlines()
    seabeds = "\n".join([f"{head},cover", *(f"{row},{COVER_OF[row.split(',')[0]]}" for row in rows)]) + "\n"
    folder: Path = tmp_path_factory.mktemp("covers")
    campaign = _campaign(folder / "known", ANCHORS, seabeds, _trials(ANCHORS, SEABEDS))
    return _fit(campaign, _prior_draws(campaign, 400))


def place(draws: Draws, cover: str) -> SeabedDraws:
    request = {"anchor": "A-10", "seabed": "the cove", "soil": "sand", "strength": "loose", "cover": cover}
    return seabed_of_request(draws, complete_requests(draws, pd.DataFrame([request], index=["q"])).iloc[0])


def test_a_new_seabed_takes_what_its_cover_does(cover_fit: Fit) -> None:
    draws = draws_of(cover_fit)
    bare, weedy = place(draws, "none"), place(draws, "weed")
    at = draws.place("cover", "weed")
    np.testing.assert_allclose(
        weedy.log_resistance - bare.log_resistance, draws["cover_resistance"][:, at], atol=1e-12
    )
    np.testing.assert_allclose(
        weedy.set_deviation - bare.set_deviation, draws["cover_setting"][:, at], atol=1e-12
    )
    np.testing.assert_array_equal(weedy.ground, bare.ground)


def test_of_a_cover_that_nobody_tested_the_prior_speaks(cover_fit: Fit) -> None:
    draws = draws_of(cover_fit)
    raised = place(draws, "shell").log_resistance - place(draws, "none").log_resistance
    assert raised.mean() == pytest.approx(0.4, abs=0.1)
    assert raised.std() == pytest.approx(0.5, rel=0.15)


def test_a_known_seabed_counts_its_own_cover_once(cover_fit: Fit) -> None:
    draws = draws_of(cover_fit)
    weedy, bare = known_seabed(draws, "mud"), known_seabed(draws, "sand")
    own = draws["set_seabed_effect"]
    np.testing.assert_allclose(
        weedy.set_deviation - own[:, draws.place("seabed", "mud")],
        draws["cover_setting"][:, draws.place("cover", "weed")],
        atol=1e-12,
    )
    np.testing.assert_array_equal(bare.set_deviation, own[:, draws.place("seabed", "sand")])


def test_answers_say_which_cover_was_assumed_or_never_tested(cover_fit: Fit) -> None:
    rows = [
        {"anchor": "A-10", "seabed": f"cove {cover}", "soil": "sand", "strength": "loose", "cover": cover}
        for cover in ("", "none", "weed", "shell")
    ]
    answer = predict(cover_fit, pd.DataFrame(rows, index=[row["cover"] or "blank" for row in rows]))
    assert "cover not given: bare ground" in str(answer["assumed"].sel(request="blank").item())
    for given in ("none", "weed", "shell"):
        assert "cover" not in str(answer["assumed"].sel(request=given).item())
    outside = {name: str(answer["outside"].sel(request=name).item()) for name in ("blank", "weed", "shell")}
    assert "shell never tested" in outside["shell"]
    assert "never tested" not in outside["weed"] + outside["blank"]

"""Scores of hidden resets and veers against closed forms: scipy's beta-binomial and Student t."""

import numpy as np
import pytest
import xarray as xr
from scipy import stats

from holdcast.capacity.likelihood.kinds import ABOVE, DID_NOT_SET, NOT_SAID, SET
from holdcast.evaluate.hiding import hidden_labels, hidings
from holdcast.evaluate.setting_scores import reset_scores, setting_scores, veer_scores
from holdcast.evaluate.summary import summarise_setting

CHANCE, CONCENTRATION, TURN = 0.7, 5.0, 0.4


@pytest.fixture
def tested(inputs: xr.Dataset) -> xr.Dataset:
    """The small campaign with two resets of a-06 in mud and a veer of b-10 on the bar that let go at 1 kN."""
    anchors, seabeds = inputs["anchor"].to_numpy().tolist(), inputs["seabed"].to_numpy().tolist()
    spots = np.zeros(2, dtype=int)
    places = {
        "reset_anchor": [anchors.index("a-06")] * 2, "reset_seabed": [seabeds.index("mud")] * 2,
        "reset_visit": spots, "reset_spot": spots,
        "attempts": [5, 4], "successes": [4, 0], "reset_judged": spots, "reset_held": [0.0, 0.0],
        "reset_fall": [0.0, 0.0], "reversal": [1.0, 1.0],
    }  # fmt: skip
    load = np.log([1000.0])
    turned = {
        "veer_anchor": [anchors.index("b-10")], "veer_seabed": [seabeds.index("bar")], "veer_visit": [0],
        "veer_spot": [0], "veer_kind": [ABOVE], "veer_lower": load, "veer_upper": load,
        "turn_lower": [2.0], "turn_upper": [2.0], "veer_speed": [0.0],
        "veer_fall_lower": [0.0], "veer_fall_upper": [0.0], "veer_fall_slope": [0.0],
    }  # fmt: skip
    empty = inputs.drop_dims(["reset", "veer"])
    made = empty.assign({name: ("reset", values) for name, values in places.items()})
    made = made.assign({name: ("veer", values) for name, values in turned.items()})
    return made.assign_coords(reset=["r1", "r2"], veer=["v1"])


@pytest.fixture
def posterior(draws, tested: xr.Dataset) -> xr.Dataset:
    made = draws(7.3, 0.2)
    odds = made["sets_log_odds"] * 0.0
    return made.assign(
        sets_log_odds=odds + 1.0,
        resets_log_odds=odds + np.log(CHANCE / (1.0 - CHANCE)),
        set_concentration=made["set_concentration"] * 0.0 + CONCENTRATION,
        turn=odds + TURN,
    )


def test_counts_are_scored_by_the_beta_binomial(tested: xr.Dataset, posterior: xr.Dataset) -> None:
    scores = reset_scores(posterior, tested, np.array([0, 1]))
    laws = [stats.betabinom(n, CONCENTRATION * CHANCE, CONCENTRATION * (1.0 - CHANCE)) for n in (5, 4)]
    expected = [law.logpmf(k) for law, k in zip(laws, (4, 0), strict=True)]
    assert scores["log_score"].to_numpy() == pytest.approx(expected)
    # Brier: four of five came true, none of four.
    brier = [0.8 * (1.0 - CHANCE) ** 2 + 0.2 * CHANCE**2, CHANCE**2]
    assert scores["brier"].to_numpy() == pytest.approx(brier)
    below, upto = laws[0].cdf(3), laws[0].cdf(4)
    inside = max(min(upto, 0.95) - max(below, 0.05), 0.0) / (upto - below)
    assert float(scores["inside_90"][0]) == pytest.approx(inside, abs=1e-9)


def test_a_turn_is_scored_by_the_straight_pull(tested: xr.Dataset, posterior: xr.Dataset) -> None:
    """Held 1 kN through 180 degrees, of which exp(-2 τ) is left: a straight pull exceeds 1 kN exp(2 τ)."""
    score = float(veer_scores(posterior, tested, np.array([0]))["log_score"][0])
    assert score == pytest.approx(stats.t(4, 7.3, 0.2).logsf(np.log(1000.0) + 2.0 * TURN), rel=1e-6)


def test_only_pulls_that_say_so_score_setting(tested: xr.Dataset, posterior: xr.Dataset) -> None:
    setting, kind = np.full(tested.sizes["trial"], NOT_SAID), np.zeros(tested.sizes["trial"], dtype=int)
    setting[:3], kind[2] = (SET, DID_NOT_SET, SET), ABOVE
    told = tested.assign(setting=("trial", setting), kind=("trial", kind))
    scores = setting_scores(posterior, told, np.arange(5))
    chance = 1.0 / (1.0 + np.exp(-1.0))
    assert scores["trial"].to_numpy().tolist() == tested["trial"].to_numpy()[:2].tolist()
    assert scores["brier"].to_numpy() == pytest.approx([(1.0 - chance) ** 2, chance**2])
    assert scores["log_score"].to_numpy() == pytest.approx(np.log([chance, 1.0 - chance]))


@pytest.mark.parametrize("kind", ["cells", "designs", "seabeds", "sizes"])
def test_resets_and_veers_are_hidden_with_their_cell(tested: xr.Dataset, kind: str) -> None:
    for hiding in hidings(tested, kind, most=99, seed=1):
        pulls = {
            (int(a), int(s))
            for a, s in zip(
                tested["anchor_of"][hiding.hidden], tested["seabed_of"][hiding.hidden], strict=True
            )
        }
        for name, mask in (("reset", hiding.resets), ("veer", hiding.veers)):
            cells = zip(tested[f"{name}_anchor"].to_numpy(), tested[f"{name}_seabed"].to_numpy(), strict=True)
            assert mask.tolist() == [cell in pulls for cell in cells]
        assert (
            len(hidden_labels(tested, hiding))
            == hiding.hidden.sum() + hiding.resets.sum() + hiding.veers.sum()
        )


def test_scores_of_setting_are_summed_up_by_what_was_hidden() -> None:
    places = {"trial": ["r1", "r2"], "anchor": ["a", "b"], "seabed": ["s", "s"], "visit": ["v", "w"]}
    resets = {**places, "attempts": [10, 5], "seen": [0.5, 0.2], "log_score": [-1.0, -2.0],
              "brier": [0.2, 0.05], "inside_50": [1.0, 0.0], "inside_90": [1.0, 1.0]}  # fmt: skip
    outcomes = [{"hide": "cells", "label": "part 1", "ok": True, "resets": resets},
                {"hide": "cells", "label": "part 2", "ok": True}]  # fmt: skip
    (row,) = summarise_setting(outcomes).to_dict("records")
    assert (row["hidden"], row["test"], row["tests"], row["attempts"]) == ("cells", "resets", 2, 15.0)
    assert row["brier"] == pytest.approx((10 * 0.2 + 5 * 0.05) / 15.0)
    assert row["log_score"] == -1.5 and row["inside_50"] == 0.5
    assert row["brier_of_mean"] == pytest.approx(0.4 * 0.6)
    assert summarise_setting(outcomes[1:]).empty

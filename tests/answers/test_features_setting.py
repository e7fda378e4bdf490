"""What features do to setting, setting again and turning, against differences straight from the tree."""

import csv
from pathlib import Path

import numpy as np
import pytest
from all_set import SURE
from scipy.special import expit
from some_set import AGAIN_EFFECT, BASE, SET_EFFECT, SHIFT, TURN, TURN_EFFECT, with_resets_and_veers

from holdcast.answers.features.features import feature_effects, pooled_effects
from holdcast.answers.features.setting_effects import paired_setting, setting_effects
from holdcast.capacity import store
from holdcast.capacity.fitting import Fit
from holdcast.commands.features import features

RESETS = [("A-10", "soft mud", 10, 9), ("A-10-bar", "soft mud", 10, 1), ("A-10", "stones", 10, 7)]
VEERS = [("A-10", "firm sand"), ("A-10-bar", "firm sand")]
SEABEDS = ["soft mud", "firm sand", "stones"]


@pytest.fixture(scope="module")
def tested_fit(small_fit: Fit) -> Fit:
    return with_resets_and_veers(small_fit, RESETS, VEERS)


def of_anchor(fit: Fit, name: str, anchor: str) -> np.ndarray:
    """Draws of a variable of one anchor, (sample, seabed)."""
    values = fit.posterior[name].sel(anchor=anchor).transpose("chain", "draw", "seabed").to_numpy()
    return values.reshape(-1, values.shape[-1])


def test_changes_are_the_differences_of_both_anchors_in_the_tree(tested_fit: Fit) -> None:
    """The pair is alike but for the feature, so its difference is the feature's, draw by draw."""
    share = {
        "sets": lambda anchor: expit(of_anchor(tested_fit, "sets_log_odds", anchor)),
        "resets": lambda anchor: expit(of_anchor(tested_fit, "resets_log_odds", anchor)),
        "veer_kept": lambda anchor: np.exp(-2.0 * of_anchor(tested_fit, "turn", anchor)),
    }
    effects, pairs = setting_effects(tested_fit).sel(effect="roll_bar"), paired_setting(tested_fit)
    assert effects["kind"].to_numpy().tolist() == list(share)
    for kind, of in share.items():
        difference = of("A-10-bar") - of("A-10")
        quantiles = np.quantile(difference, [0.05, 0.5, 0.95], axis=0).T
        for answer in (effects, pairs.isel(pair=0)):
            here = answer.sel(kind=kind)
            np.testing.assert_allclose(here["change"].transpose("seabed", "quantile"), quantiles, atol=1e-12)
            np.testing.assert_allclose(here["p_gain"], (difference > 0).mean(axis=0))
        overall = np.quantile(difference.mean(axis=1), [0.05, 0.5, 0.95])
        np.testing.assert_allclose(effects["overall"].sel(kind=kind), overall, atol=1e-12)


def test_the_edge_that_ruins_setting_again_in_one_seabed_is_found(tested_fit: Fit) -> None:
    """Medians by hand from the effects put in: log odds of 1.5 + 0.4 - 0.5 - 2.5 against 1.5 - 0.5."""
    effects = setting_effects(tested_fit).sel(effect="roll_bar")
    without = np.array(BASE) + SHIFT
    by_hand = expit(without + SET_EFFECT[0] + np.array(AGAIN_EFFECT[0])) - expit(without)
    np.testing.assert_allclose(effects["change"].sel(kind="resets", quantile=0.5), by_hand, atol=0.02)
    kept = np.exp(-2 * TURN * np.exp(TURN_EFFECT[0])) - np.exp(-2 * TURN)
    np.testing.assert_allclose(effects["change"].sel(kind="veer_kept", quantile=0.5), kept, atol=0.02)
    assert float(effects["p_gain"].sel(kind="resets", seabed="soft mud")) < 0.01
    assert float(effects["p_gain"].sel(kind="sets", seabed="soft mud")) > 0.9


def test_pairs_are_counted_by_kind_of_test(tested_fit: Fit) -> None:
    counted = setting_effects(tested_fit)["pairs_tested"].sel(effect="roll_bar", seabed=SEABEDS)
    assert counted.sel(kind="sets").to_numpy().tolist() == [1, 0, 0]
    assert counted.sel(kind="resets").to_numpy().tolist() == [1, 0, 0]
    assert counted.sel(kind="veer_kept").to_numpy().tolist() == [0, 1, 0]
    assert not setting_effects(tested_fit)["pairs_tested"].sel(effect="tip_weight").any()
    both = paired_setting(tested_fit)["both_tested"].isel(pair=0).sel(seabed=SEABEDS)
    assert both.sel(kind="resets").to_numpy().tolist() == [True, False, False]


def test_contraction_is_that_of_the_effect(tested_fit: Fit) -> None:
    def variance(group: str) -> np.ndarray:
        draws = tested_fit.tree[group].to_dataset().sel(feature="roll_bar")
        effect = (draws["set_feature_effect"] + draws["again_feature_effect"]).transpose("chain", "draw", ...)
        return effect.to_numpy().reshape(-1, 3).var(axis=0)

    told = setting_effects(tested_fit)["contraction"].sel(kind="resets", effect="roll_bar")
    np.testing.assert_allclose(told, 1.0 - variance("posterior") / variance("prior"))


def test_a_log_of_pulls_tells_of_setting_alone(small_fit: Fit) -> None:
    effects = setting_effects(small_fit)
    assert effects["kind"].to_numpy().tolist() == ["sets"] and SURE > 30
    np.testing.assert_allclose(effects["change"], 0.0, atol=1e-12)


def test_pooled_factor_is_the_mean_of_logs_over_seabeds(small_fit: Fit) -> None:
    draws = small_fit.posterior["feature_effect"].sel(feature="roll_bar").mean("seabed").to_numpy().ravel()
    pooled = pooled_effects(small_fit).sel(effect="roll_bar")
    np.testing.assert_allclose(pooled["factor"], np.exp(np.quantile(draws, [0.05, 0.5, 0.95])))
    assert float(pooled["p_gain"]) == pytest.approx((draws > 0).mean())
    assert feature_effects(small_fit).sizes["effect"] == 2


def told_by(
    fit: Fit, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], **options
) -> str:
    monkeypatch.setattr(store, "load", lambda _: fit)
    features(folder, **options)
    return capsys.readouterr().out


def test_the_screen_names_the_seabed_and_the_file_holds_the_rest(
    tested_fit: Fit, small_fit: Fit, tmp_path: Path, monkeypatch, capsys
) -> None:
    screen = told_by(tested_fit, tmp_path, monkeypatch, capsys)
    assert len(screen.splitlines()) <= 45
    again = next(line for line in screen.splitlines() if line.startswith("sets again"))
    change = setting_effects(tested_fit)["change"].sel(
        kind="resets", effect="roll_bar", seabed="soft mud", quantile=0.5
    )
    assert f"less in soft mud {100 * float(change):+.0f}" in again and again.rstrip().endswith("in 1 seabed")
    with (tmp_path / "features.csv").open(encoding="utf-8") as file:
        rows = {(row["kind"], row["effect"], row["seabed"]): row for row in csv.DictReader(file)}
    row = rows["net", "roll_bar", "soft mud"]
    assert float(row["resets_change_q50"]) == pytest.approx(float(change), rel=1e-5)
    assert (row["resets_pairs_tested"], row["veer_kept_pairs_tested"]) == ("1", "0")
    total = rows["total", "roll_bar: A-10-bar against A-10", "soft mud"]
    assert float(total["resets_change_q50"]) == pytest.approx(float(change), rel=1e-5)
    measured = next(row for (kind, *_), row in rows.items() if kind == "measurement")
    assert measured["sets_change_q50"] == ""
    whole = told_by(tested_fit, tmp_path, monkeypatch, capsys, everything=True)
    assert "roll bar, net: sets again after 180°" in whole and "Parameters beside their priors" in whole
    pulls = told_by(small_fit, tmp_path, monkeypatch, capsys)
    assert "The log holds no resets or veers" in pulls and "sets again after" not in pulls

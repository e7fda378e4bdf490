"""Effects against the known ones that the small fit was built from."""

import numpy as np
import pytest
import xarray as xr
from scipy import stats

from holdcast.answers.explain.learning import contraction, how_far_moved, shift
from holdcast.answers.features.features import feature_effects, features_together, measurement_effects
from holdcast.answers.features.pairs import find_pairs, paired_contrasts
from holdcast.capacity.fitting import Fit
from holdcast.show.text.learning import learning_lines, learning_rows
from holdcast.show.views.features.effects import (
    basis_text,
    effect_lines,
    effect_rows,
    effect_sentences,
    effects_sheet,
    pair_rows,
    together_sentences,
)

TRUE_ROLL_BAR = {"soft mud": 0.3, "firm sand": 0.0, "stones": -0.2}  # log factor, as the small fit was built


def with_group(fit: Fit, group: str, data: xr.Dataset) -> Fit:
    tree = fit.tree.copy()
    tree[group] = xr.DataTree(data)
    return Fit(tree, fit.verdict)


def test_net_effects_recover_what_was_put_in(small_fit: Fit) -> None:
    effects = feature_effects(small_fit)
    for seabed, true in TRUE_ROLL_BAR.items():
        cell = effects.sel(effect="roll_bar", seabed=seabed)
        # 800 draws about the truth with sd 0.05: quantiles of a normal, to within four standard errors.
        expected = np.exp(stats.norm(true, 0.05).ppf([0.05, 0.25, 0.5, 0.75, 0.95]))
        assert np.allclose(cell["factor"], expected, rtol=0.02)
    assert float(effects["p_gain"].sel(effect="roll_bar", seabed="soft mud")) > 0.99
    assert float(effects["p_gain"].sel(effect="roll_bar", seabed="stones")) < 0.01
    draws = small_fit.posterior["feature_effect"].sel(feature="tip_weight", seabed="stones").to_numpy()
    factor = np.exp(draws)
    counted = ((factor > 1.1) | (factor < 0.9)).mean()
    assert float(effects["p_large"].sel(effect="tip_weight", seabed="stones")) == pytest.approx(counted)
    # The prior's spread is four times the posterior's by construction.
    assert float(effects["contraction"].mean()) == pytest.approx(1 - 1 / 16, abs=0.02)


def test_pairs_are_one_design_one_feature_one_size(small_fit: Fit) -> None:
    assert [(pair.feature, pair.with_it, pair.without) for pair in find_pairs(small_fit)] == [
        ("roll_bar", "A-10-bar", "A-10")
    ]
    anchors = small_fit.tree["anchors"].to_dataset().copy(deep=True)
    anchors["mass_kg"].loc[{"anchor": "A-10-bar"}] = 13.1  # another size
    assert find_pairs(with_group(small_fit, "anchors", anchors)) == []
    told = small_fit.inputs.copy(deep=True)
    told["has_feature"].loc[{"anchor": "A-10-bar"}] = 1.0  # two parts at once
    assert find_pairs(with_group(small_fit, "constant_data", told)) == []


def test_counts_of_pairs_and_how_it_is_known(small_fit: Fit) -> None:
    effects = feature_effects(small_fit)
    assert effects["pairs"].sel(effect=["roll_bar", "tip_weight"]).to_numpy().tolist() == [1, 0]
    assert effects["pairs_tested"].sel(effect="roll_bar").to_numpy().tolist() == [1, 0, 0]
    rows = effect_rows(effects, "net").set_index(["effect", "seabed"])
    assert (
        rows.loc[("roll_bar", "stones"), "basis"]
        == "1 paired configuration of one design, both tested in 1 seabed"
    )
    assert rows.loc[("tip_weight", "stones"), "basis"] == "between designs only"
    assert basis_text(2, 0, 3, 9) == "2 paired configurations of one design, never both tested in one seabed"
    assert basis_text(0, 0, 9, 9) == "every anchor has it, so it cannot be told from the ground"


def test_total_is_the_ratio_of_both_cells_and_splits_exactly(small_fit: Fit) -> None:
    contrasts = paired_contrasts(small_fit)
    capacity = np.exp(small_fit.posterior["log_capacity"].sel(seabed="soft mud"))
    ratio = (capacity.sel(anchor="A-10-bar") / capacity.sel(anchor="A-10")).to_numpy().ravel()
    here = contrasts.isel(pair=0).sel(seabed="soft mud")
    assert np.allclose(here["total"], np.quantile(ratio, [0.05, 0.25, 0.5, 0.75, 0.95]))
    assert float(here["p_gain"]) == pytest.approx((ratio > 1).mean())
    assert float(here["p_large"]) == pytest.approx(((ratio > 1.1) | (ratio < 0.9)).mean())
    assert contrasts["both_tested"].isel(pair=0).to_numpy().tolist() == [True, False, False]
    # By hand in soft mud, where any tip breaks in: mass 10.6 against 10 kg, area excess 0.02 less.
    by_hand = 1.06**0.86 * np.exp(0.7 * (0.08 - 0.10))
    assert float(here["carried"].sel(quantile=0.5)) == pytest.approx(by_hand, rel=0.01)
    assert float(contrasts["mass_ratio"].isel(pair=0)) == pytest.approx(1.06)


def test_no_pair_gives_an_empty_answer_with_its_dims(small_fit: Fit) -> None:
    told = small_fit.inputs.copy(deep=True)
    told["has_feature"].loc[{"anchor": "A-10-bar"}] = 1.0
    contrasts = paired_contrasts(with_group(small_fit, "constant_data", told))
    assert dict(contrasts.sizes) == {"pair": 0, "seabed": 3, "quantile": 5}


def test_tip_load_and_area_by_hand(small_fit: Fit) -> None:
    effects = measurement_effects(small_fit)
    area = effects["factor"].sel(effect="fluke area +25%", quantile=0.5)
    assert np.allclose(area, 1.25**0.7, rtol=0.01)
    # Median mass 10.6 kg, median tip load 3.5 kg of the five anchors; stones: log R about 1, k 1.5, q 0.33.
    tip, mass = np.log(3.5), np.log(1.06)

    def factor(log_tip: float) -> float:
        return 1 / (1 + np.exp(-1.5 * (log_tip - 0.33 * mass - 1.0)))

    by_hand = factor(tip + np.log(1.25)) / factor(tip)
    here = effects["factor"].sel(effect="tip load +25%", seabed="stones", quantile=0.5)
    assert float(here) == pytest.approx(by_hand, rel=0.02)
    assert float(effects["factor"].sel(effect="tip load +25%", seabed="soft mud", quantile=0.5)) < 1.01


def test_features_that_go_together_are_warned_of(small_fit: Fit) -> None:
    told = small_fit.inputs.copy(deep=True)
    told["has_feature"] = told["has_feature"].copy(
        data=np.array([[0, 0], [1, 1], [0, 0], [1, 1], [0, 0]], dtype=float)
    )
    together = features_together(with_group(small_fit, "constant_data", told))
    assert float(together["over_anchors"].sel(feature="roll_bar", other="tip_weight")) == pytest.approx(1.0)
    draws = (
        small_fit.posterior["feature_typical"].stack(s=("chain", "draw")).transpose("feature", "s").to_numpy()
    )
    expected = np.corrcoef(draws)[0, 1]
    assert float(together["in_posterior"].sel(feature="roll_bar", other="tip_weight")) == pytest.approx(
        expected
    )
    (sentence,) = together_sentences(together)
    assert sentence.startswith("roll bar and tip weight nearly always go together (correlation +1.00")
    assert together_sentences(features_together(small_fit)) == []


def test_contraction_and_shift_of_known_normals() -> None:
    rng = np.random.default_rng(1)
    prior = xr.DataArray(rng.normal(0.0, 2.0, 200_000), dims="sample")
    posterior = xr.DataArray(rng.normal(1.0, 1.0, 200_000), dims="sample")
    assert float(contraction(posterior, prior)) == pytest.approx(0.75, abs=0.01)
    assert float(shift(posterior, prior)) == pytest.approx(0.5, abs=0.01)
    assert float(contraction(prior, prior)) == 0.0


def test_parameters_carry_their_labels_and_log_scale(small_fit: Fit) -> None:
    moved = how_far_moved(small_fit, ["log_resistance", "design_spread"])
    assert moved["label"].to_numpy().tolist() == ["soft mud", "firm sand", "stones", ""]
    after = np.log(small_fit.posterior["design_spread"].to_numpy())
    before = np.log(small_fit.tree["prior"]["design_spread"].to_numpy())
    expected = 1 - after.var() / before.var()
    assert float(moved["contraction"].sel(parameter="design_spread")) == pytest.approx(expected)
    lines = learning_lines(learning_rows(moved), 2.0, width=120)
    assert "log resistance (stones)" in lines[3] and lines[3].endswith("mostly the prior")
    with pytest.raises(KeyError, match=r"'log_resistence'; the nearest known one to .* is 'log_resistance'"):
        how_far_moved(small_fit, ["log_resistence"])


def test_what_hardly_moved_has_no_sign_of_a_loss(small_fit: Fit) -> None:
    net = effect_rows(feature_effects(small_fit), "net").assign(prior_shift=-0.04)
    learnt = learning_rows(how_far_moved(small_fit, ["log_resistance"]))
    learnt = learnt.assign(shift=-0.04, value_q50=-0.004)
    for lines in (effect_lines(net, width=120), learning_lines(learnt, 2.0, width=120)):
        text = "\n".join(lines)
        assert "+0.0" in text and "-0.0 " not in text and "-0.00" not in text


def test_words_and_picture(small_fit: Fit, unreliable_fit: Fit) -> None:
    from holdcast.show.figures.intervals import interval_figure

    net, measured = (
        effect_rows(feature_effects(small_fit), "net"),
        effect_rows(measurement_effects(small_fit), "measurement"),
    )
    pairs = pair_rows(paired_contrasts(small_fit))
    text = "\n".join(
        effect_lines(net, width=120) + effect_lines(pairs, width=120) + effect_lines(measured, width=120)
    )
    assert "roll bar: A-10-bar against A-10, total" in text and "all seabeds alike" in text
    roll_bar, _ = effect_sentences(net)
    assert "a gain (95% sure) in soft mud; a loss (95% sure) in stones" in roll_bar
    figure = interval_figure(effects_sheet(net, unreliable_fit.tree.attrs, reliable=False))
    assert figure.texts[0].get_text().startswith("UNRELIABLE")
    assert len(figure.axes) == 3

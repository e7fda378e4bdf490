"""Draws of log capacity against the model's own: known cells exactly, new members in distribution."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from holdcast.answers.draws.anchors import Effect, anchor_effects, known_anchor
from holdcast.answers.draws.capacity import log_capacity
from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.draws.seabeds import SeabedDraws, effect_in, known_seabed
from holdcast.answers.predict.predict import anchor_of_request, seabed_of_request
from holdcast.answers.predict.requests import complete_requests
from holdcast.capacity.inputs.likeness import alike_kernel
from holdcast.capacity.model.design_parts import Variances


@pytest.fixture(scope="module")
def facts(worlds) -> Draws:
    return draws_of(worlds.fit)


def test_known_cells_equal_the_posterior(worlds, facts) -> None:
    for anchor in facts.labels("anchor"):
        for seabed in facts.labels("seabed"):
            stored = worlds.fit.posterior["log_capacity"].sel(anchor=anchor, seabed=seabed)
            made = log_capacity(facts, known_anchor(facts, anchor), known_seabed(facts, seabed))
            np.testing.assert_allclose(made, stored.to_numpy().ravel(), atol=1e-9, rtol=0)


def asked(facts: Draws, worlds, anchor: str, seabed: str) -> np.ndarray:
    """Draws for a cell of the whole world, asked by its columns where the fit does not know it."""
    row = {"anchor": anchor, "seabed": seabed}
    for name, table in ((anchor, worlds.new_anchors), (seabed, worlds.new_seabeds)):
        if name in table.index:
            row |= {str(column): value for column, value in table.loc[name].items()}
    rows = complete_requests(facts, pd.DataFrame([row], index=["q"]))
    one = rows.iloc[0]
    return log_capacity(facts, anchor_of_request(facts, one), seabed_of_request(facts, one))


NEW_CELLS = [
    ("A-16", "mud"),
    ("A-16", "far stones"),
    ("D-09", "silt"),
    ("D-09", "far mud"),
    ("E-20", "sand"),
    ("E-20", "far stones"),
    ("B-12", "far mud"),
    ("A-10", "far stones"),
]


@pytest.mark.parametrize(("anchor", "seabed"), NEW_CELLS)
def test_new_cells_are_distributed_as_the_model_says(worlds, facts, anchor, seabed) -> None:
    """Witness: the same cell in PyMC's own draws of the whole world, by two-sample Kolmogorov-Smirnov."""
    model = worlds.whole["log_capacity"].sel(anchor=anchor, seabed=seabed).to_numpy().ravel()
    made = asked(facts, worlds, anchor, seabed)
    assert stats.ks_2samp(made, model).pvalue > 0.002
    assert np.std(made) == pytest.approx(np.std(model), rel=0.08)


@pytest.mark.parametrize(("anchor", "seabed"), NEW_CELLS)
def test_new_cells_go_along_with_known_ones_as_the_model_says(worlds, facts, anchor, seabed) -> None:
    """Regression of the new cell on all known cells: PyMC's draws are the witness for slope and residual."""
    cells = facts["log_capacity"]
    features = np.column_stack([np.ones(len(cells)), cells.reshape(len(cells), -1)])
    model = worlds.whole["log_capacity"].sel(anchor=anchor, seabed=seabed).to_numpy().ravel()
    made = asked(facts, worlds, anchor, seabed)
    predicted = features @ np.linalg.lstsq(features, model, rcond=None)[0]
    own = features @ np.linalg.lstsq(features, made, rcond=None)[0]
    assert np.corrcoef(predicted, made)[0, 1] == pytest.approx(np.corrcoef(own, made)[0, 1], abs=0.04)
    assert np.corrcoef(predicted, model)[0, 1] == pytest.approx(np.corrcoef(predicted, made)[0, 1], abs=0.07)
    assert np.std(made - predicted) == pytest.approx(np.std(model - predicted), rel=0.1)


def test_effect_in_a_new_seabed_has_the_joint_covariance(facts) -> None:
    """Brute force: effects simulated over known and new seabeds together, then the new one drawn again."""
    count = facts.samples
    index = np.append(facts.inputs["strength_index"].to_numpy(), 0.3)
    kernel = alike_kernel(index, [*facts.seabeds["soil"], "sand"])
    main, alike, own = 0.05, 0.08, 0.03
    covariance = main + alike * kernel + own * np.eye(len(index))
    random = np.random.default_rng(3)
    simulated = 0.4 + random.multivariate_normal(np.zeros(len(index)), covariance, count)
    spread = Variances(*(np.full(count, part) for part in (main, alike, own)))
    effect = Effect("design Q", np.full(count, 0.4), simulated[:, :-1], spread)
    zeros = np.zeros(count)
    place = SeabedDraws("new", None, kernel[:-1, -1], (0.0, 0.0, 0.0), *(zeros,) * 6)
    drawn = np.column_stack([simulated[:, :-1], effect_in(facts, effect, place)])
    # Five standard errors of a covariance of normals.
    room = 5 * np.sqrt((np.outer(np.diag(covariance), np.diag(covariance)) + covariance**2) / count)
    assert (np.abs(np.cov(drawn.T) - covariance) < room).all()
    assert drawn[:, -1].mean() == pytest.approx(0.4, abs=5 * np.sqrt(covariance[-1, -1] / count))


def test_a_seabed_just_like_a_known_one_with_little_of_its_own_gives_its_effect(facts) -> None:
    count = facts.samples
    values = np.random.default_rng(1).standard_normal((count, facts.inputs.sizes["seabed"]))
    spread = Variances(np.full(count, 0.1), np.full(count, 0.2), np.full(count, 1e-9))
    effect = Effect("design Q", np.zeros(count), 0.1 * values, spread)
    like = known_seabed(facts, "sand")
    twin = SeabedDraws("twin", None, like.likeness, like.angle_shares, *(np.zeros(count),) * 6)
    np.testing.assert_allclose(effect_in(facts, effect, twin), effect.values[:, like.at], atol=1e-3)


def traits_of(facts: Draws, design: str) -> list[Effect]:
    row = pd.Series({"design": design, "form": "scoop"})
    return [effect for effect in anchor_effects(facts, row) if effect.member.startswith("trait ")]


def test_a_known_designs_traits_are_the_posteriors(facts) -> None:
    for design in facts.labels("design"):
        at = facts.labels("design").index(design)
        made = sum(np.asarray(effect.amount)[:, None] * effect.values for effect in traits_of(facts, design))
        np.testing.assert_allclose(
            made, facts["trait_effect"][:, at], atol=2e-7
        )  # draws are kept to seven digits


def test_a_new_design_has_scores_of_its_own(facts) -> None:
    scores = np.array([effect.amount for design in ("Q", "R", "S") for effect in traits_of(facts, design)])
    assert scores.shape == (6, facts.samples)
    assert all(stats.kstest(each, "norm").pvalue > 1e-3 for each in scores)
    # Five standard errors of a correlation of independent draws.
    assert np.abs(np.corrcoef(scores) - np.eye(6)).max() < 5.0 / np.sqrt(facts.samples)


def test_designs_share_what_a_trait_does_in_a_new_seabed(facts, worlds) -> None:
    row = pd.Series({"seabed": "far stones", **worlds.new_seabeds.loc["far stones"].to_dict()})
    rows = complete_requests(facts, pd.DataFrame([{"anchor": "A-10", **row.to_dict()}], index=["q"]))
    stones = seabed_of_request(facts, rows.iloc[0])
    for known_one, new_one in zip(traits_of(facts, "A"), traits_of(facts, "Q"), strict=True):
        loading = effect_in(facts, known_one, stones)
        np.testing.assert_array_equal(loading, effect_in(facts, new_one, stones))
        unit = loading / np.sqrt(known_one.spread.alike + known_one.spread.own)
        assert stats.kstest(unit, "norm").pvalue > 1e-3


def test_streams_belong_to_the_member_and_the_seed(facts, worlds) -> None:
    assert (facts.normals("design", "Q") == facts.normals("design", "Q")).all()
    assert abs(np.corrcoef(facts.normals("design", "Q"), facts.normals("design", "R"))[0, 1]) < 0.1
    assert (facts.normals("design", "Q") != draws_of(worlds.fit, 8).normals("design", "Q")).all()
    assert facts.normals("ab", "c")[0] != facts.normals("a", "bc")[0]


def test_unknown_labels_raise(facts) -> None:
    with pytest.raises(KeyError, match="unknown anchor: 'A-1O'; the nearest known one"):
        known_anchor(facts, "A-1O")
    with pytest.raises(KeyError, match="unknown seabed: 'mudd'"):
        known_seabed(facts, "mudd")

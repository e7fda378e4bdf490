"""Ranks and probabilities against plain counting, one draw at a time."""

from itertools import combinations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from holdcast.answers.rank.letter_groups import letter_groups
from holdcast.answers.rank.rank import every_seabed, log_measure, ranking, weighted_ranking
from holdcast.capacity.fitting import Fit
from holdcast.show.views.rank import by_median, every_lines, ranking_lines, ranking_rows, ranking_sheet


def counted(values: np.ndarray) -> dict[str, np.ndarray]:
    """values (anchor, sample): everything by loops over draws."""
    number, draws = values.shape
    ranks = np.array(
        [
            [1 + sum(values[j, d] > values[i, d] for j in range(number)) for d in range(draws)]
            for i in range(number)
        ]
    )
    beats = np.array(
        [
            [sum(values[i, d] > values[j, d] for d in range(draws)) / draws for j in range(number)]
            for i in range(number)
        ]
    )
    return {"ranks": ranks, "beats": beats}


@pytest.mark.parametrize("measure", ["capacity", "efficiency"])
def test_ranks_are_counts_of_draws(small_fit: Fit, measure: str) -> None:
    ranked = ranking(small_fit, measure=measure)
    mass = small_fit.tree["anchors"]["mass_kg"].to_numpy()
    for seabed in ranked["seabed"].to_numpy():
        draws = (
            np.exp(small_fit.posterior["log_capacity"].sel(seabed=seabed))
            .transpose("anchor", "chain", "draw")
            .to_numpy()
        )
        values = draws.reshape(len(mass), -1) / (mass[:, None] * 9.80665 if measure == "efficiency" else 1.0)
        truth, here = counted(values), ranked.sel(seabed=seabed)
        assert np.allclose(here["p_best"], (truth["ranks"] == 1).mean(axis=1))
        assert np.allclose(here["p_best_three"], (truth["ranks"] <= 3).mean(axis=1))
        assert np.allclose(here["p_beats"].transpose("anchor", "rival"), truth["beats"])
        assert np.allclose(here["rank"].sel(quantile=0.5), np.median(truth["ranks"], axis=1))
        assert np.allclose(here["rank"].sel(quantile=0.95), np.quantile(truth["ranks"], 0.95, axis=1))
        assert here["surely_beats"].to_numpy().tolist() == (truth["beats"] >= 0.95).sum(axis=1).tolist()
        assert here["surely_beaten_by"].to_numpy().tolist() == (truth["beats"] >= 0.95).sum(axis=0).tolist()


def test_measure_changes_the_order(small_fit: Fit) -> None:
    heavy = ranking(small_fit, ["firm sand"]), ranking(small_fit, ["firm sand"], measure="efficiency")
    p_best = [float(each["p_best"].sel(anchor="B-20", seabed="firm sand")) for each in heavy]
    assert p_best[0] > 0.5 > p_best[1]


def test_weighted_ranking_is_that_of_the_weighted_mean_of_logs(small_fit: Fit) -> None:
    ranked = weighted_ranking(small_fit, {"soft mud": 1.0, "stones": 3.0})
    logs = log_measure(small_fit, "capacity")
    truth = counted((0.25 * logs.sel(seabed="soft mud") + 0.75 * logs.sel(seabed="stones")).to_numpy())
    assert np.allclose(ranked["p_best"], (truth["ranks"] == 1).mean(axis=1))
    assert ranked.attrs["weights"] == "soft mud 25%; stones 75%"


def test_every_seabed_counts_joint_draws(small_fit: Fit) -> None:
    answer = every_seabed(small_fit, 20.0, without=["stones"])
    draws = np.exp(log_measure(small_fit, "efficiency")).sel(seabed=["soft mud", "firm sand"]).to_numpy()
    assert np.allclose(answer["p_every"], (draws > 20.0).all(axis=1).mean(axis=1))
    assert float(answer["p_every"].max()) > 0.0 and float(answer["p_every"].min()) < 1.0
    assert (answer["p_every"] <= answer["p_here"].min("seabed")).all()
    assert (answer.attrs["seabeds"], answer.attrs["left_out"]) == ("soft mud; firm sand", "stones")
    assert "Left out: stones." in " ".join(every_lines(answer, width=200))


def test_wrong_questions_are_refused(small_fit: Fit) -> None:
    with pytest.raises(KeyError, match="nearest known one to 'soft mad' is 'soft mud'"):
        ranking(small_fit, ["soft mad"])
    with pytest.raises(KeyError, match="'stone' is 'stones'"):
        every_seabed(small_fit, 10.0, without=["stone"])
    with pytest.raises(KeyError, match="'firm sand'"):
        weighted_ranking(small_fit, {"firm snd": 1.0})
    with pytest.raises(ValueError, match="needs weights"):
        weighted_ranking(small_fit, {})
    with pytest.raises(ValueError, match=r"above 0, got stones=-1\.0"):
        weighted_ranking(small_fit, {"stones": -1.0})
    with pytest.raises(ValueError, match="above 0, got 0"):
        every_seabed(small_fit, 0.0)
    with pytest.raises(ValueError, match="every seabed is left out"):
        every_seabed(small_fit, 5.0, without=["soft mud", "firm sand", "stones"])
    with pytest.raises(ValueError, match="'capacity' or 'efficiency', got 'weight'"):
        ranking(small_fit, measure="weight")


@given(st.integers(1, 7), st.integers(0, 10_000))
def test_anchors_share_a_letter_exactly_when_not_told_apart(number: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    beats = np.triu(rng.choice([0.0, 0.02, 0.3, 0.7, 0.97, 1.0], (number, number)), 1)
    beats += np.tril(1.0 - beats.T, -1)
    letters = [set(text) for text in letter_groups(beats, rng.random(number), 0.95)]
    for i, j in combinations(range(number), 2):
        assert bool(letters[i] & letters[j]) == (0.05 < beats[i, j] < 0.95)
    assert all(letters)


def test_ties_share_the_better_rank(small_fit: Fit) -> None:
    posterior = small_fit.posterior.copy()
    posterior["log_capacity"] = xr.zeros_like(posterior["log_capacity"])
    tree = small_fit.tree.copy()
    tree["posterior"] = xr.DataTree(posterior)
    ranked = ranking(Fit(tree, small_fit.verdict))
    assert (ranked["rank"] == 1).all() and (ranked["p_best"] == 1).all() and (ranked["p_beats"] == 0).all()
    assert set(ranked["groups"].to_numpy().ravel()) == {"a"}


def test_rows_stand_by_form_and_name_unless_one_seabed_is_asked_for(small_fit: Fit) -> None:
    rows = ranking_rows(ranking(small_fit), "seabed")
    first = rows[rows["seabed"] == "soft mud"]
    assert first["anchor"].tolist() == ["C-12", "B-09", "B-20", "A-10", "A-10-bar"]
    assert by_median(first)["rank_q50"].is_monotonic_increasing
    assert set(rows[rows["evidence"] == "untested"]["anchor"]) >= {"C-12"}
    text = "\n".join(ranking_lines(first, "soft mud", width=100))
    assert "C-12*" in text and "A-10*" not in text


def test_words_stay_whole_on_a_narrow_screen(small_fit: Fit) -> None:
    rows = ranking_rows(ranking(small_fit, ["soft mud"]), "seabed")
    lines = ranking_lines(rows, "soft mud", width=34)
    assert "A-10-bar" in lines and max(map(len, lines)) <= 34
    assert "best 3" in " ".join(lines)
    without_letters = ranking_lines(rows.assign(groups=""), "soft mud", width=100)
    assert any(line.startswith("Too many groups for letters") for line in without_letters)


def test_picture_marks_an_unreliable_fit_first(unreliable_fit: Fit) -> None:
    from holdcast.show.figures.intervals import interval_figure

    rows = ranking_rows(ranking(unreliable_fit), "seabed")
    figure = interval_figure(ranking_sheet(rows, unreliable_fit.tree.attrs, reliable=False))
    assert figure.texts[0].get_text().startswith("UNRELIABLE")
    assert len(figure.axes) == 1 + 3  # the key, and a panel a seabed

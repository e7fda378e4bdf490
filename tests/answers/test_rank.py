"""Ranks and probabilities against plain counting, one draw at a time."""

from itertools import combinations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from some_set import with_resets_and_veers

from holdcast.answers.rank.letter_groups import letter_groups
from holdcast.answers.rank.rank import every_seabed, log_measure, ranking, weighted_ranking
from holdcast.capacity.fitting import Fit
from holdcast.show.views.rank import (
    by_median,
    every_lines,
    ranking_lines,
    ranking_rows,
    ranking_sheet,
    short_ranking_lines,
)


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
    with pytest.raises(ValueError, match="'capacity', 'efficiency', 'resets', 'veers', got 'weight'"):
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


RESETS = [("A-10", "soft mud", 10, 9), ("A-10-bar", "soft mud", 10, 1), ("B-09", "stones", 5, 5)]
VEERS = [("C-12", "firm sand"), ("A-10", "firm sand")]


@pytest.fixture(scope="module")
def tested_fit(small_fit: Fit) -> Fit:
    """With chances that differ by anchor: draws of the small fit's own capacities serve as noise."""
    fit = with_resets_and_veers(small_fit, RESETS, VEERS)
    noise = fit.posterior["log_capacity"] - fit.posterior["log_capacity"].mean(("chain", "draw"))
    again, turn = fit.posterior["resets_log_odds"] + 3 * noise, fit.posterior["turn"] * np.exp(noise)
    tree = fit.tree.copy()
    tree["posterior"] = xr.DataTree(fit.posterior.assign(resets_log_odds=again, turn=turn))
    return Fit(tree, fit.verdict)


def shares(fit: Fit, seabed: str) -> dict[str, np.ndarray]:
    """Chance of setting again and share kept, straight from the tree, each (anchor, sample)."""
    draws = fit.posterior.sel(seabed=seabed)
    again, turn = (draws[name].transpose("anchor", "chain", "draw") for name in ("resets_log_odds", "turn"))
    number = again.sizes["anchor"]
    return {
        "resets": (1 / (1 + np.exp(-again.to_numpy()))).reshape(number, -1),
        "veers": np.exp(-2 * turn.to_numpy()).reshape(number, -1),
    }


@pytest.mark.parametrize("measure", ["resets", "veers"])
def test_ranks_by_setting_again_and_by_turns_are_counts_of_draws(tested_fit: Fit, measure: str) -> None:
    ranked = ranking(tested_fit, ["soft mud"], measure=measure).isel(seabed=0)
    truth = counted(shares(tested_fit, "soft mud")[measure])
    assert np.allclose(ranked["p_best"], (truth["ranks"] == 1).mean(axis=1))
    assert np.allclose(ranked["p_beats"].transpose("anchor", "rival"), truth["beats"])
    assert ranked["surely_beats"].to_numpy().tolist() == (truth["beats"] >= 0.95).sum(axis=1).tolist()


def test_evidence_is_that_of_the_kind_of_test(tested_fit: Fit) -> None:
    by = {measure: ranking(tested_fit, measure=measure)["tested"] for measure in ("resets", "veers")}
    cells = {
        measure: {
            (str(cell["anchor"].item()), str(cell["seabed"].item()))
            for cell in tested.stack(cell=("anchor", "seabed"), create_index=False)
            if bool(cell)
        }
        for measure, tested in by.items()
    }
    assert cells["resets"] == {row[:2] for row in RESETS} and cells["veers"] == set(VEERS)


def test_kinds_of_test_count_by_their_weights(tested_fit: Fit) -> None:
    """Witness: the weighted product of load, chance and share, from the tree."""
    seabeds = {"soft mud": 1.0, "stones": 3.0}
    ranked = weighted_ranking(tested_fit, seabeds, kinds={"pull": 1.0, "reset": 2.0, "veer": 1.0})
    logs = 0.0
    for seabed, weight in (("soft mud", 0.25), ("stones", 0.75)):
        here = shares(tested_fit, seabed)
        load = log_measure(tested_fit, "capacity").sel(seabed=seabed).to_numpy()
        logs = logs + weight * (0.25 * load + 0.5 * np.log(here["resets"]) + 0.25 * np.log(here["veers"]))
    truth = counted(logs)
    assert np.allclose(ranked["p_best"], (truth["ranks"] == 1).mean(axis=1))
    assert ranked.attrs["kinds"] == "pull 25%; reset 50%; veer 25%" and ranked.attrs["left_out"] == ""
    pulls = weighted_ranking(tested_fit, seabeds, kinds={"pull": 3.0, "reset": 0.0})
    assert np.allclose(pulls["p_best"], weighted_ranking(tested_fit, seabeds)["p_best"])


def test_kinds_that_the_log_lacks_are_left_out_or_refused(small_fit: Fit) -> None:
    ranked = weighted_ranking(small_fit, {"stones": 1.0}, kinds={"pull": 1.0, "reset": 1.0})
    assert (ranked.attrs["kinds"], ranked.attrs["left_out"]) == ("pull 100%", "reset")
    with pytest.raises(ValueError, match="no kind of test with a weight"):
        weighted_ranking(small_fit, {"stones": 1.0}, kinds={"veer": 1.0})
    with pytest.raises(ValueError, match="the log holds no resets"):
        ranking(small_fit, measure="resets")
    with pytest.raises(KeyError, match="nearest known one to 'resets' is 'reset'"):
        weighted_ranking(small_fit, {"stones": 1.0}, kinds={"resets": 1.0})
    with pytest.raises(ValueError, match=r"0 or more, got pull=-1\.0"):
        weighted_ranking(small_fit, {"stones": 1.0}, kinds={"pull": -1.0})


def test_words_are_those_of_what_is_ranked(tested_fit: Fit) -> None:
    rows = ranking_rows(ranking(tested_fit, measure="resets"), "seabed")
    first = rows[rows["seabed"] == "soft mud"]
    text = " ".join(" ".join(ranking_lines(first, "soft mud", width=100)).split())
    assert "of setting again best: " in text and "holding" not in text
    assert "A-10*" not in text and "C-12*" in text
    assert "May set again best in stones" in "\n".join(short_ranking_lines(rows, width=100))

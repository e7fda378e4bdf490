"""Two results that differ by hand: the answer must name exactly these differences."""

import json

import numpy as np
import pytest
import xarray as xr
from scipy.special import expit
from some_set import with_resets_and_veers

from holdcast.answers.compare.compare import MOVED, cells_moved, chances_moved, effects_moved, ranks_moved
from holdcast.answers.compare.log_changes import rows_changed, settings_changed, trials_behind, trials_changed
from holdcast.capacity.fitting import Fit
from holdcast.show.views.compare.chances import chance_lines, moved_chances
from holdcast.show.views.compare.moves import (
    Compared,
    compare_lines,
    compare_sheet,
    moved_cells,
    moved_ranks,
    trial_words,
)


def altered(fit: Fit, **groups: xr.Dataset) -> Fit:
    tree = fit.tree.copy()
    for name, data in groups.items():
        tree[name] = xr.DataTree(data)
    return Fit(tree, fit.verdict)


@pytest.fixture
def later(small_fit: Fit) -> Fit:
    """One cell 20% lower and wider, one feature effect higher, and a log with one of each change."""
    posterior = small_fit.posterior.copy(deep=True)
    cell = {"anchor": "A-10", "seabed": "soft mud"}
    draws = posterior["log_capacity"].sel(cell)
    posterior["log_capacity"].loc[cell] = draws.median() + 2.0 * (draws - draws.median()) + np.log(0.8)
    posterior["feature_effect"].loc[{"feature": "tip_weight", "seabed": "stones"}] += 0.3
    trials = small_fit.tree["trials"].to_dataset().copy(deep=True)
    trials["exclude"] = trials["exclude"].astype("<U40")
    trials["status"] = trials["status"].astype("<U12")
    trials["exclude"].loc[{"trial": "T2"}] = "fouled"
    trials["status"].loc[{"trial": "T2"}] = "excluded"
    trials["held_n"].loc[{"trial": "T5"}] = 2600.0
    trials["note"] = trials["note"].astype("<U40")
    trials["note"].loc[{"trial": "T6"}] = "only a note"
    added = trials.sel(trial=["T4"]).assign_coords(trial=["T8"])
    trials = xr.concat([trials.drop_sel(trial="T7"), added], "trial")
    anchors = small_fit.tree["anchors"].to_dataset().copy(deep=True)
    anchors["mass_kg"].loc[{"anchor": "B-20"}] = 19.5
    new = altered(small_fit, posterior=posterior, trials=trials, anchors=anchors)
    new.tree.attrs = {**small_fit.tree.attrs, "seed": 8, "input_hash": "1" * 64}
    return new


def test_only_the_changed_cell_moved(small_fit: Fit, later: Fit) -> None:
    moved = cells_moved(small_fit, later)
    rows = moved_cells(moved, MOVED)
    assert rows[["anchor", "seabed"]].to_numpy().tolist() == [["A-10", "soft mud"]]
    draws = small_fit.posterior["log_capacity"].sel(anchor="A-10", seabed="soft mud").to_numpy()
    low, high = np.quantile(draws, [0.05, 0.95])
    here = moved.sel(anchor="A-10", seabed="soft mud")
    assert float(here["move"]) == pytest.approx(np.log(0.8) / ((high - low) / 2))
    assert float(here["factor"]) == pytest.approx(0.8)
    assert float(here["band_ratio"]) == pytest.approx(2.0)
    assert bool(here["outside"]) == (np.log(0.8) + np.median(draws) < low)
    assert float(moved["move"].sel(anchor="B-20", seabed="stones")) == 0.0
    assert float(here["old_n"].sel(quantile=0.5)) == pytest.approx(np.exp(np.median(draws)))


def test_only_the_changed_effect_moved(small_fit: Fit, later: Fit) -> None:
    moved = effects_moved(small_fit, later)
    named = moved["parameter"].to_numpy()[np.abs(moved["move"].to_numpy()) > 0]
    assert named.tolist() == ["feature_effect (tip_weight, stones)"]
    here = moved.sel(parameter="feature_effect (tip_weight, stones)")
    assert float(here["new"].sel(quantile=0.5) - here["old"].sel(quantile=0.5)) == pytest.approx(0.3)
    assert bool(here["outside"])


def test_ranks_are_among_the_anchors_of_both(small_fit: Fit, later: Fit) -> None:
    fewer = altered(later, posterior=later.posterior.drop_sel(anchor="B-20"))
    ranks = ranks_moved(small_fit, fewer)
    assert "B-20" not in ranks["anchor"].to_numpy() and float(ranks["old_rank"].max()) <= 4
    whole = moved_ranks(ranks_moved(small_fit, later))
    assert set(whole["seabed"]) <= {"soft mud"}
    assert moved_ranks(ranks_moved(small_fit, small_fit)).empty


def test_trials_are_named_with_what_changed(small_fit: Fit, later: Fit) -> None:
    spoken = trial_words(trials_changed(small_fit, later))
    assert spoken == {
        "T2": "T2 newly excluded (fouled)",
        "T5": "T5 changed (held_n 2500 → 2600)",
        "T8": "T8 added",
        "T7": "T7 removed",
    }
    back = trial_words(trials_changed(later, small_fit))
    assert back["T2"] == "T2 no longer excluded (fouled)" and back["T7"] == "T7 added"
    assert trials_changed(small_fit, small_fit).sizes["trial"] == 0


def test_trials_stand_once_by_how_near_they_are(small_fit: Fit, later: Fit) -> None:
    trials = trials_changed(small_fit, later)
    behind = trials_behind(small_fit, later, trials, "A-10", "soft mud")
    assert behind == {"cell": ["T2"], "design": ["T5"], "seabed": ["T8"]}
    assert trials_behind(small_fit, later, trials, "C-12", "firm sand") == {
        "cell": ["T7"],
        "design": [],
        "seabed": ["T5"],
    }


def test_tables_and_settings(small_fit: Fit, later: Fit) -> None:
    anchors = rows_changed(small_fit, later, "anchors")
    assert anchors["what"].to_numpy().tolist() == ["mass_kg 20 → 19.5"] and anchors["row"].item() == "B-20"
    assert rows_changed(small_fit, later, "seabeds").sizes["row"] == 0
    fewer = altered(small_fit, seabeds=small_fit.tree["seabeds"].to_dataset().drop_sel(seabed="stones"))
    gone = rows_changed(small_fit, fewer, "seabeds")
    assert (gone["row"].item(), gone["change"].item()) == ("stones", "removed")
    with pytest.raises(ValueError, match="'anchors' or 'seabeds', got 'rodes'"):
        rows_changed(small_fit, later, "rodes")
    assert settings_changed(small_fit, later)["setting"].to_numpy().tolist() == ["seed", "input_hash"]
    other = altered(small_fit)
    priors = {**json.loads(small_fit.tree.attrs["priors"]), "design_spread": {"median": 0.5, "log_sd": 0.4}}
    other.tree.attrs = {**small_fit.tree.attrs, "priors": json.dumps(priors)}
    changed = settings_changed(small_fit, other)
    assert changed["setting"].item() == "prior design_spread" and "0.5" in changed["new"].item()


def test_results_of_other_campaigns_are_refused(small_fit: Fit) -> None:
    posterior = small_fit.posterior.assign_coords(anchor=[f"X{i}" for i in range(5)])
    with pytest.raises(ValueError, match="no anchor in common"):
        cells_moved(small_fit, altered(small_fit, posterior=posterior))


def test_words_and_picture(small_fit: Fit, later: Fit) -> None:
    from holdcast.show.figures.intervals import interval_figure

    logs = (
        trials_changed(small_fit, later),
        *(rows_changed(small_fit, later, t) for t in ("anchors", "seabeds")),
    )
    moved = [question(small_fit, later) for question in (cells_moved, effects_moved, ranks_moved)]
    answer = Compared(*moved, *logs, settings_changed(small_fit, later), chances_moved(small_fit, later))
    behind = {("A-10", "soft mud"): trials_behind(small_fit, later, logs[0], "A-10", "soft mud")}
    text = " ".join(compare_lines(answer, behind, MOVED, "si", width=200))
    assert "1 of 15 cells moved" in text and "A-10 in soft mud fell from" in text
    assert "In this cell: T2 newly excluded (fouled). Of the same design elsewhere: T5 changed" in text
    assert "feature effect (tip weight, stones)" in text and "Anchor B-20 changed: mass_kg 20 → 19.5" in text
    assert "same input files" not in text and "seed: 7 → 8" in text
    figure = interval_figure(
        compare_sheet(moved_cells(answer.cells, MOVED), "us", later.tree.attrs, reliable=False)
    )
    assert figure.texts[0].get_text().startswith("UNRELIABLE")


def test_only_the_changed_chance_moved(small_fit: Fit) -> None:
    """Log odds of one cell fall by 1.2: by hand the move over half the old band, and both chances."""
    old = with_resets_and_veers(small_fit, [("A-10", "soft mud", 10, 9)], [("A-10", "stones")])
    cell = {"anchor": "A-10", "seabed": "soft mud"}
    posterior = old.posterior.copy(deep=True)
    posterior["resets_log_odds"].loc[cell] -= 1.2
    new = altered(old, posterior=posterior)
    chances = chances_moved(old, new)
    rows = moved_chances(chances, MOVED)
    assert rows[["kind", "anchor", "seabed"]].to_numpy().tolist() == [["resets", "A-10", "soft mud"]]
    draws = old.posterior["resets_log_odds"].sel(cell).to_numpy()
    low, middle, high = np.quantile(draws, [0.05, 0.5, 0.95])
    row = rows.iloc[0]
    assert row["move"] == pytest.approx(-1.2 / ((high - low) / 2), rel=1e-3)
    assert row["old_q50"] == pytest.approx(expit(middle), rel=1e-3)
    assert row["new_q50"] == pytest.approx(expit(middle - 1.2), rel=1e-3)
    assert row["band_ratio"] == pytest.approx(1.0, rel=1e-3)
    text = "\n".join(chance_lines(chances, MOVED, 100, most=5))
    assert "sets again" in text and f"{100 * row['new_q50']:.0f}%" in text and "more with --all" not in text
    assert chance_lines(chances_moved(old, old), MOVED, 100, most=5)[0].startswith(
        "No chance of setting moved"
    )


def test_a_kind_of_test_that_one_log_alone_holds_is_told(small_fit: Fit) -> None:
    new = with_resets_and_veers(small_fit, [("A-10", "soft mud", 10, 9)], [("A-10", "stones")])
    chances = chances_moved(small_fit, new)
    assert chances["kind"].to_numpy().tolist() == ["sets"]
    said = chance_lines(chances, MOVED, 200, most=2)
    assert said[-1].endswith("Only the new log holds resets. Only the new log holds veers.")


def test_the_screen_is_short_and_all_tells_the_rest(small_fit: Fit) -> None:
    """A fit in which everything moved: the screen keeps to a few rows a part."""
    moved = {
        name: values + 1.0 if np.issubdtype(values.dtype, np.floating) and "seabed" in values.dims else values
        for name, values in small_fit.posterior.data_vars.items()
    }
    new = altered(small_fit, posterior=small_fit.posterior.assign(moved))
    questions = (cells_moved, effects_moved, ranks_moved)
    logs = (
        trials_changed(small_fit, new),
        *(rows_changed(small_fit, new, table) for table in ("anchors", "seabeds")),
    )
    answer = Compared(
        *(question(small_fit, new) for question in questions),
        *logs,
        settings_changed(small_fit, new),
        chances_moved(small_fit, new),
    )
    cells = moved_cells(answer.cells, MOVED)
    behind = {
        (row.anchor, row.seabed): {"cell": [], "design": [], "seabed": []} for row in cells.itertuples()
    }
    short, whole = (
        compare_lines(answer, behind, MOVED, "si", everything=everything, width=80)
        for everything in (False, True)
    )
    assert len(short) <= 36 and len(whole) > len(short)
    assert any("more with --all" in line for line in short) and not any("--all" in line for line in whole)

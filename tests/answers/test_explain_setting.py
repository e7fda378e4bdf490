"""What carries a cell's chances of setting: counts by hand, shares from spreads that are known."""

import numpy as np
import pytest
import xarray as xr
from scipy.special import expit
from some_set import with_resets_and_veers

from holdcast.answers.explain.learning import LITTLE_LEARNT
from holdcast.answers.explain.setting_evidence import PLACES, setting_evidence, setting_sources
from holdcast.capacity.fitting import Fit
from holdcast.show.views.explain.setting import part_rows, setting_lines, unknown_sentences

RESETS = [
    ("A-10", "soft mud", 10, 9),
    ("A-10-bar", "soft mud", 8, 1),
    ("A-10", "stones", 5, 3),
    ("B-09", "soft mud", 4, 2),
    ("B-09", "firm sand", 7, 7),
]
VEERS = [("A-10", "soft mud"), ("A-10-bar", "soft mud")]
CELL = ("A-10", "soft mud")


@pytest.fixture(scope="module")
def tested_fit(small_fit: Fit) -> Fit:
    return with_resets_and_veers(small_fit, RESETS, VEERS)


def test_tests_are_counted_by_where_they_were_made(tested_fit: Fit) -> None:
    """By hand from the rows above, and from the seven pulls of the small fit, all of which had set."""
    evidence = setting_evidence(tested_fit, *CELL)
    assert evidence["place"].to_numpy().tolist() == list(PLACES)
    counted = {
        kind: list(
            zip(
                *(evidence[name].sel(kind=kind).to_numpy().tolist() for name in ("done", "tests")),
                strict=True,
            )
        )
        for kind in ("sets", "resets", "veer_kept")
    }
    assert counted["sets"] == [(2, 2), (2, 2), (1, 1)]
    assert counted["resets"] == [(9, 10), (4, 13), (2, 4)]
    assert counted["veer_kept"] == [(1, 1), (0, 1), (0, 0)]


def test_bands_and_contraction_are_those_of_the_draws(tested_fit: Fit) -> None:
    evidence = setting_evidence(tested_fit, *CELL)

    def draws(group: str, name: str) -> np.ndarray:
        return tested_fit.tree[group][name].sel(anchor=CELL[0], seabed=CELL[1]).to_numpy().ravel()

    again = draws("posterior", "resets_log_odds")
    np.testing.assert_allclose(
        evidence["share"].sel(kind="resets"), np.quantile(expit(again), [0.05, 0.5, 0.95])
    )
    learnt = 1 - again.var() / draws("prior", "resets_log_odds").var()
    assert float(evidence["contraction"].sel(kind="resets")) == pytest.approx(learnt)
    turn = np.log(draws("posterior", "turn")), np.log(draws("prior", "turn"))
    assert float(evidence["contraction"].sel(kind="veer_kept")) == pytest.approx(
        1 - turn[0].var() / turn[1].var()
    )


def test_shares_follow_from_the_spreads_put_in(tested_fit: Fit) -> None:
    """Of A-10-bar: ground and the feature each spread by 0.2, and again by 0.2 each for setting again."""
    sources = setting_sources(tested_fit, "A-10-bar", "soft mud")["share"]
    np.testing.assert_allclose(sources.sum("part"), 1.0)
    for kind in ("sets", "resets", "veer_kept"):
        assert float(sources.sel(kind=kind, part="features")) == pytest.approx(0.5, abs=0.08)
        assert float(sources.sel(kind=kind, part="ground")) == pytest.approx(0.5, abs=0.08)
    assert float(setting_sources(tested_fit, *CELL)["share"].sel(kind="resets", part="features")) == 0.0
    with pytest.raises(KeyError, match="'A-10'"):
        setting_sources(tested_fit, "A-11", "soft mud")


def test_words_say_what_the_log_cannot_tell(tested_fit: Fit, small_fit: Fit) -> None:
    evidence = setting_evidence(tested_fit, *CELL)
    lines = setting_lines(evidence, width=100)
    assert "9 of 10" in lines[2] and "4 of 13" in lines[2]
    said = " ".join(unknown_sentences(evidence, LITTLE_LEARNT))
    assert "column set" in said and "The log holds no" not in said and "Nobody tested" not in said
    other = " ".join(unknown_sentences(setting_evidence(tested_fit, "C-12", "stones"), LITTLE_LEARNT))
    assert "No reset or veer of this design was made" in other
    flat = evidence.assign(contraction=evidence["contraction"] * 0.0)
    assert "Mostly the prior's, not the log's: sets, sets again" in " ".join(
        unknown_sentences(flat, LITTLE_LEARNT)
    )
    pulls = unknown_sentences(setting_evidence(small_fit, *CELL), -1.0)
    assert pulls[:2] == [
        "The log holds no resets, so it says nothing of setting again.",
        "The log holds no veers, so it says nothing of what a turn costs.",
    ]
    sources = xr.Dataset(
        {"share": ("part", [0.4, 0.25, 0.35])}, {"part": ["design elsewhere", "design here", "ground"]}
    )
    headings, rows = part_rows(sources, setting_sources(tested_fit, *CELL))
    assert headings == ["part", "capacity", "sets", "sets again", "turn"]
    assert next(row for row in rows if row[0].startswith("design"))[1] == "65%"

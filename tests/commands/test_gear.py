"""Doubts about rodes: a pin that does not pass, and anchors that may hold more than a rode is worked at."""

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from holdcast.answers.doubts.open_ended import open_ended_doubts
from holdcast.answers.doubts.tackle import tackle_doubts
from holdcast.campaign import read_campaign
from holdcast.campaign.doubts.gear import gear_doubts
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.package_data import path


def test_a_pin_too_thick_for_its_chain_is_doubted_and_a_thin_one_is_not() -> None:
    demo = read_campaign(path("demo"))
    rodes = demo.rodes.copy()
    rodes.loc["heavy rode", "shackle_in"] = 0.75
    sentences = [doubt.allowed for doubt in gear_doubts(replace(demo, rodes=rodes))]
    assert any("does not fit" in sentence and "3/4 in shackle" in sentence for sentence in sentences)
    assert not any("does not fit" in doubt.allowed for doubt in gear_doubts(demo))


@pytest.fixture
def fit() -> Fit:
    rodes = xr.Dataset(
        {"grade": ("rode", ["30"]), "chain_mm": ("rode", [8.0]), "shackle_in": ("rode", [0.4375])},
        {"rode": ["usual"]},
    )
    trials = xr.Dataset(
        {"anchor": ("trial", ["A", "B"]), "rode": ("trial", ["usual", "usual"])}, {"trial": ["1", "2"]}
    )
    verdict = Verdict(True, (), 0, 1.0, 900.0, 900.0, 0.9, 4000)
    return Fit(xr.DataTree.from_dict({"rodes": rodes, "trials": trials}), verdict)


def cells(highest: dict[str, float]) -> xr.Dataset:
    loads = np.array(list(highest.values()))[:, None, None] * np.array([0.5, 1.0])
    return xr.Dataset(
        {"capacity_n": (("anchor", "seabed", "quantile"), loads)},
        {"anchor": list(highest), "seabed": ["mud"], "quantile": [0.5, 0.95]},
    )


def test_an_anchor_that_may_hold_more_than_the_weakest_link_is_named(fit: Fit) -> None:
    # C never was on this rode; A stays below the working load of its weakest link, B does not.
    (doubt,) = tackle_doubts(fit, cells({"A": 3000.0, "B": 30000.0, "C": 90000.0}))
    assert "rode usual; B may hold up to 30000 N" in doubt.about
    assert "working load" in doubt.reason


def test_a_rode_strong_enough_and_a_log_without_rodes_bring_no_doubt(fit: Fit) -> None:
    assert tackle_doubts(fit, cells({"A": 3000.0, "B": 2000.0})) == []
    without = Fit(xr.DataTree.from_dict({"trials": fit.tree["trials"].to_dataset()}), fit.verdict)
    assert tackle_doubts(without, cells({"A": 1e6, "B": 1e6})) == []


def pulls_of(kinds: dict[tuple[str, str], list[int]]) -> Fit:
    anchors, seabeds = ["A", "B"], ["mud", "sand"]
    rows = [(a, s, kind) for (a, s), each in kinds.items() for kind in each]
    inputs = xr.Dataset(
        {
            "anchor_of": ("trial", [anchors.index(a) for a, _, _ in rows]),
            "seabed_of": ("trial", [seabeds.index(s) for _, s, _ in rows]),
            "kind": ("trial", [kind for _, _, kind in rows]),
            "visit_of": ("trial", [0 for _ in rows]),
            **{
                f"{test}_{of}": (test, np.zeros(0, dtype=int))
                for test in ("reset", "veer")
                for of in ("anchor", "seabed")
            },
            "attempts": ("reset", np.zeros(0, dtype=int)),
            "successes": ("reset", np.zeros(0, dtype=int)),
            "had_set": ("trial", np.ones(len(rows))),
        },
        {"anchor": anchors, "seabed": seabeds},
    )
    verdict = Verdict(True, (), 0, 1.0, 900.0, 900.0, 0.9, 4000)
    return Fit(xr.DataTree.from_dict({"constant_data": inputs}), verdict)


def test_cells_in_which_nothing_let_go_are_named_once() -> None:
    fit = pulls_of({("A", "mud"): [ABOVE, ABOVE], ("A", "sand"): [ABOVE, BETWEEN], ("B", "mud"): [ABOVE]})
    (doubt,) = open_ended_doubts(fit)
    assert doubt.about == "2 cells in which no pull let go: A in mud, B in mud"
    assert open_ended_doubts(pulls_of({("A", "mud"): [ABOVE, EXACT], ("B", "sand"): [BELOW]})) == []

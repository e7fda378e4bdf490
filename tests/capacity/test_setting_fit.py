"""One real fit of a log with resets, veers and an anchor that never set: what it must tell a tester."""

from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from holdcast.campaign import read_campaign
from holdcast.capacity.fitting import Fit, fit

ANCHORS = """anchor,design,form,mass_kg,tip_load_kg,fluke_area_m2,flag_upturned
A,A,scoop,15,6,0.11,no
C,C,twin_fluke,10,1.2,0.12,no
D,D,claw,15,3,0.09,no
E,E,scoop,14,5,0.1,no
E+,E,scoop,14.5,5,0.105,yes
"""
SEABEDS = "seabed,soil,strength\nsand,sand,medium_dense\nmud,silt,low\nhard,clay,very_high\n"
HELD_N = {
    "sand": {"A": (5460, 4447), "C": (6528, 4426), "D": (2686, 2307), "E": (5524, 4042), "E+": (4581, 5100)},
    "mud": {"A": (2257, 3019), "C": (3515, 4150), "D": (1131, 895), "E": (2664, 2218), "E+": (2561, 2352)},
    "hard": {"A": (1716, 1510), "D": (714, 660), "E": (1327, 1145), "E+": (1222, 1076)},
}
"""Two pulls of each anchor on one visit to each seabed; all let go an eighth above the load held."""
TESTS = """
no1,C,hard,pull,2026-05-03,,115,,,,
no2,C,hard,pull,2026-05-03,,140,,,,
r1,E,mud,reset,2026-05-02,300,,10,9,,
r2,E+,mud,reset,2026-05-02,300,,10,0,,
r3,A,mud,reset,2026-05-02,300,,10,8,,
r4,D,mud,reset,2026-05-02,300,,10,8,,
r5,E,sand,reset,2026-05-01,300,,10,8,,
r6,E+,sand,reset,2026-05-01,300,,10,9,,
v1,E,mud,veer,2026-05-02,2000,2600,,,180,
v2,D,mud,veer,2026-05-02,700,,,,180,45
v3,A,mud,veer,2026-05-02,2000,,,,180,
"""


def log_of_trials() -> str:
    rows = ["trial,anchor,seabed,test,date,held_n,released_n,attempts,successes,veer_deg,veer_held_deg"]
    for day, (seabed, anchors) in enumerate(HELD_N.items(), start=1):
        for anchor, loads in anchors.items():
            rows += [
                f"{seabed} {anchor} {at},{anchor},{seabed},pull,2026-05-{day:02d},{load},{load * 9 // 8},,,,"
                for at, load in enumerate(loads)
            ]
    return "\n".join(rows) + TESTS


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Fit:
    folder: Path = tmp_path_factory.mktemp("resets") / "campaign"
    folder.mkdir()
    for name, text in (("anchors", ANCHORS), ("seabeds", SEABEDS), ("trials", log_of_trials())):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return fit(read_campaign(folder), seed=4, quick=True)


def chances(made: Fit, name: str) -> xr.DataArray:
    return 1.0 / (1.0 + np.exp(-made.posterior[name]))


@pytest.mark.fit
@pytest.mark.long
def test_the_verdict_is_good(made: Fit) -> None:
    assert made.verdict.ok, made.verdict.sentences
    assert {"sets_log_odds", "resets_log_odds", "turn"} <= set(made.posterior.data_vars)


@pytest.mark.fit
@pytest.mark.long
def test_an_anchor_that_never_set_is_the_least_likely_to_set_there(made: Fit) -> None:
    never = {"anchor": "C", "seabed": "hard"}
    chance = chances(made, "sets_log_odds").median(("chain", "draw"))
    here = float(chance.sel(never))
    assert float((chance > here).sum()) == chance.size - 1
    had_set = made.tree["constant_data"]["had_set"]
    assert (had_set.sel(trial=["no1", "no2"]) < 0.5).all()
    assert (had_set.drop_sel(trial=["no1", "no2"]) > 0.99).all()
    # Its sliding loads are no capacity: what it would hold, had it set, is not thought to be near them.
    middle = np.exp(made.posterior["log_capacity"].sel(never).median())
    assert float(middle) > 2.0 * 140.0


@pytest.mark.fit
@pytest.mark.long
def test_a_part_that_spoils_resets_in_mud_is_told_there_and_not_in_capacity(made: Fit) -> None:
    over = ("chain", "draw")
    part = {"feature": "upturned"}
    again = (made.posterior["again_feature_effect"] + made.posterior["set_feature_effect"]).sel(part)
    assert float((again.sel(seabed="mud") < 0.0).mean()) > 0.95
    assert float((again.sel(seabed="mud") < again.sel(seabed="sand")).mean()) > 0.8
    in_mud = made.posterior["again_feature_effect"].sel(part | {"seabed": "mud"})
    assert float((in_mud < 0.0).mean()) > 0.9
    # The straight pulls with and without it are alike.
    effect = made.posterior["feature_effect"].sel(part | {"seabed": "mud"})
    assert abs(float(effect.median())) < 0.25
    low, high = effect.quantile([0.05, 0.95], over)
    assert float(low) < 0.0 < float(high)
    resets = chances(made, "resets_log_odds").sel(seabed="mud").median(over)
    assert float(resets.sel(anchor="E+")) < 0.3
    assert float(resets.sel(anchor="E")) > 0.6


@pytest.mark.fit
@pytest.mark.long
def test_a_turn_that_was_lost_costs_more_than_one_that_was_held(made: Fit) -> None:
    kept = np.exp(-2.0 * made.posterior["turn"]).sel(seabed="mud").median(("chain", "draw"))
    assert float(kept.sel(anchor="D")) < float(kept.sel(anchor="E"))
    assert float(kept.sel(anchor="D")) < 0.75


@pytest.mark.fit
@pytest.mark.long
def test_what_was_weighed_afterwards_adds_up(made: Fit) -> None:
    """Every group of the tree is whole and finite where resets and veers are in the log."""
    likelihood = made.tree["log_likelihood"]["log_load"]
    assert list(likelihood["trial"].to_numpy()) == list(made.inputs["trial"].to_numpy())
    for group in ("posterior", "prior", "posterior_predictive", "log_likelihood", "log_prior"):
        for name, values in made.tree[group].data_vars.items():
            assert np.isfinite(values).all(), (group, name)

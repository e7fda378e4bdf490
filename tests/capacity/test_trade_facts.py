"""What testers see of resets, veers and small anchors in cobble: within the prior's reach, and told apart.

All facts are common practice, no source.  Nothing is sampled: draws from the prior are weighed by what they
say of the rows, which is the posterior of a log with these rows alone.
"""

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.prior_draws import draw_prior
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.pointwise.pulls import shifted_log_likelihoods
from holdcast.capacity.pointwise.resets_and_veers import reset_draws, veer_draws

Numbers = NDArray[np.float64]

DRAWS = 8000
HELD_N = 2380.0
"""535 lbf."""
ANCHORS = """anchor,design,form,mass_kg,tip_load_kg,fluke_area_m2
good,G,scoop,15,6,0.11
packs,P,scoop,15,5,0.11
third,T,plough,16,5,0.10
small,S,claw,5,1,0.04
"""
SEABEDS = """seabed,soil,strength
sandy mud,silt,low
soft mud,clay,very_low
stones,cobble,dense
"""
TRIALS = """trial,anchor,seabed,test,date,scope,held_n,released_n,attempts,successes,veer_deg,veer_held_deg
good 1,good,sandy mud,reset,2026-05-01,3.5,220,,10,6,,
good 2,good,soft mud,reset,2026-05-02,3.5,220,,5,4,,
packs 1,packs,sandy mud,reset,2026-05-01,3.5,220,,10,0,,
packs 2,packs,soft mud,reset,2026-05-02,3.5,220,,5,0,,
kept,good,sandy mud,veer,2026-05-01,3.5,2380,3100,,,180,
lost at 45,packs,sandy mud,veer,2026-05-01,3.5,2380,,,,180,45
lost at 100,third,sandy mud,veer,2026-05-01,3.5,2380,,,,180,100
step 1,small,stones,pull,2026-05-03,3.5,534,712,,,,
step 2,small,stones,pull,2026-05-03,3.5,534,712,,,,
step 3,small,stones,pull,2026-05-03,3.5,534,712,,,,
"""
"""After its veer the first let go above what it had kept; steps in cobble are 120 and 160 lbf."""


class Weighed(NamedTuple):
    """Draws from the prior and how likely each makes the rows: arrays of shape (sample, row)."""

    draws: xr.Dataset
    inputs: xr.Dataset
    resets: Numbers
    veers: Numbers
    pulls: Numbers

    def of_cells(self, name: str, anchor: str, seabed: str) -> Numbers:
        return self.draws[name].sel(anchor=anchor, seabed=seabed).to_numpy().ravel()


@pytest.fixture(scope="module")
def weighed(tmp_path_factory: pytest.TempPathFactory) -> Weighed:
    folder: Path = tmp_path_factory.mktemp("facts") / "campaign"
    folder.mkdir()
    for name, text in (("anchors", ANCHORS), ("seabeds", SEABEDS), ("trials", TRIALS)):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    inputs = lay_out(read_campaign(folder))
    draws = draw_prior(build_model(inputs, with_overrides({})), seed=8, draws=DRAWS)
    (pulls,) = shifted_log_likelihoods(draws, inputs, [0.0])
    return Weighed(
        draws,
        inputs,
        np.exp(reset_draws(draws, inputs).log_likelihood),
        np.exp(veer_draws(draws, inputs).log_likelihood),
        np.exp(pulls[0]),
    )


def average(values: Numbers, weights: Numbers) -> float:
    """Return a weighed mean; refused where too few draws carry the weight to speak of one."""
    assert weights.sum() ** 2 / (weights**2).sum() > 50.0
    return float(np.average(values, weights=weights))


def test_good_resets_and_none_at_all_are_both_expected_beforehand(weighed: Weighed) -> None:
    said = reset_draws(weighed.draws, weighed.inputs)
    fewer = said.below(np.array([6, 4, 1, 1])).mean(axis=0)
    assert (1.0 - fewer[:2] > 0.25).all()  # more than half of ten; four of five
    assert (fewer[2:] > 0.02).all()  # none
    together = weighed.resets.prod(axis=1).mean()
    # Of the 11 · 6 · 11 · 6 outcomes that could be, each has 2e-4 where all are alike.
    assert together > 1e-4


def test_counts_of_resets_tell_a_design_that_packs_from_one_that_does_not(weighed: Weighed) -> None:
    weights = weighed.resets.prod(axis=1)
    for seabed in ("sandy mud", "soft mud"):
        chance = {
            name: 1.0 / (1.0 + np.exp(-weighed.of_cells("resets_log_odds", name, seabed)))
            for name in ("good", "packs")
        }
        even = np.ones(DRAWS)
        assert abs(average(chance["good"], even) - average(chance["packs"], even)) < 0.02
        assert average(chance["good"], weights) > 0.5
        assert average(chance["packs"], weights) < 0.3
        assert average((chance["good"] > chance["packs"]).astype(float), weights) > 0.9


def test_a_load_kept_through_a_turn_or_lost_in_it_is_within_the_priors_reach(weighed: Weighed) -> None:
    """Of anchors that hold it when pulled straight."""
    below = veer_draws(weighed.draws, weighed.inputs).below(np.full(weighed.veers.shape, np.log(HELD_N)))
    holds = 1.0 - below.mean(axis=0)
    kept, at_45, at_100 = weighed.veers.mean(axis=0) / holds
    assert kept > 0.05  # and let go before 700 lbf
    assert at_45 > 0.01  # within 15 degrees
    assert at_100 > 0.01


def test_veers_tell_who_keeps_the_load_and_who_loses_it_early(weighed: Weighed) -> None:
    share = {
        row: average(
            np.exp(-2.0 * weighed.of_cells("turn", anchor, "sandy mud")),
            # Of anchors that break out at one and a half to twice the load when pulled straight.
            weighed.veers[:, at]
            * (abs(np.exp(weighed.of_cells("log_capacity", anchor, "sandy mud")) / HELD_N - 1.75) < 0.5),
        )
        for at, (row, anchor) in enumerate((("kept", "good"), ("45", "packs"), ("100", "third")))
    }
    assert share["kept"] > share["100"] + 0.1 > share["45"] + 0.1


def test_a_small_anchor_in_cobble_that_let_go_twice_at_a_step_does_so_again(weighed: Weighed) -> None:
    """The same step three times over: 6% beforehand, and most likely of all once it was seen twice."""
    steps = weighed.pulls
    assert steps.shape[1] == 3
    once = float(steps[:, 2].mean())
    # Pulls of a spot are weighed in turn: the third factor is that of the third given the two before.
    again = average(steps[:, 2], steps[:, :2].prod(axis=1))
    assert 0.02 < once < 0.15
    assert again > 2.5 * once

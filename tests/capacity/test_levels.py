"""Weights of the sampler's levels, counted again pull by pull."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pytest
import xarray as xr

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.likelihood.kinds import ABOVE
from holdcast.capacity.sampler.refitting import hide_pulls

Rows = Sequence[Mapping[str, object]]

ANCHORS: Rows = [
    {"anchor": "a", "design": "A", "form": "scoop", "mass_kg": 10, "tip_load_kg": 3},
    {"anchor": "b", "design": "B", "form": "plough", "mass_kg": 15, "tip_load_kg": 4},
    {"anchor": "c", "design": "C", "form": "scoop", "mass_kg": 20, "tip_load_kg": 6},
    {"anchor": "d", "design": "D", "form": "claw", "mass_kg": 12, "tip_load_kg": 3},
]
SEABEDS: Rows = [
    {"seabed": "mud", "soil": "clay", "strength": "very_low"},
    {"seabed": "beach", "soil": "sand", "strength": "dense"},
    {"seabed": "never pulled", "soil": "gravel", "strength": "dense"},
]


@pytest.fixture
def inputs(make_campaign: Callable[..., Campaign]) -> xr.Dataset:
    """Twelve pulls of three anchors, none of the claw, by rodes of several lengths, some open above."""
    rode = {"depth_m": 6, "bow_height_m": 1, "chain_kg_per_m": 2.0, "load_at": "bow"}
    trials: Rows = [
        {
            "trial": f"t{k}",
            "anchor": "aabc"[k % 4],
            "seabed": ("mud", "beach", "mud")[k % 3],
            "test": "pull",
            "date": f"2024-05-0{1 + k // 4}",
            "held_N": 900 + 100 * k,
            "rode_length_m": 25 + 3 * k,
            "chain_length_m": 20 + 3 * k,
            "stopped_by": "boat_limit" if k % 5 == 0 else "",
            "released_N": "" if k % 5 == 0 else 1000 + 100 * k,
            **rode,
        }
        for k in range(12)
    ]
    return lay_out(make_campaign(anchors=ANCHORS, seabeds=SEABEDS, trials=trials))


@pytest.mark.parametrize("hide", [False, True])
def test_weights_are_shares_of_the_pulls_that_count(inputs: xr.Dataset, hide: bool) -> None:
    hidden = (
        np.arange(inputs.sizes["trial"]) % 4 == 1 if hide else np.zeros(inputs.sizes["trial"], dtype=bool)
    )
    weighed = hide_pulls(inputs, hidden)
    counted = np.flatnonzero(~hidden)
    of = {name: inputs[f"{name}_of"].to_numpy() for name in ("anchor", "seabed", "visit", "form")}
    for seabed in range(inputs.sizes["seabed"]):
        here = [pull for pull in counted if of["seabed"][pull] == seabed]
        for name, weight in (("anchor", "pull_weight"), ("visit", "visit_weight")):
            for row in range(inputs.sizes[name]):
                share = sum(of[name][pull] == row for pull in here) / max(len(here), 1)
                assert float(weighed[weight][row, seabed]) == pytest.approx(share)
        falls = [
            float(inputs["fall_lower" if inputs["kind"][pull] == ABOVE else "fall_upper"][pull])
            for pull in here
        ]
        assert float(weighed["mean_fall"][seabed]) == pytest.approx(sum(falls) / max(len(falls), 1))
    for form in range(inputs.sizes["form"]):
        mine = [pull for pull in counted if of["form"][of["anchor"][pull]] == form]
        for anchor in range(inputs.sizes["anchor"]):
            for seabed in range(inputs.sizes["seabed"]):
                same = sum(of["anchor"][pull] == anchor and of["seabed"][pull] == seabed for pull in mine)
                share = same / max(len(mine), 1)
                assert float(weighed["form_weight"][form, anchor, seabed]) == pytest.approx(share)


def test_the_log_of_this_file_has_what_it_is_for(inputs: xr.Dataset) -> None:
    assert float(inputs["pull_weight"].sel(seabed="never pulled").sum()) == 0.0
    assert float(inputs["form_weight"].sel(form="claw").sum()) == 0.0
    assert float(inputs["mean_fall"].sel(seabed="mud")) > 0.0
    assert (inputs["kind"] == ABOVE).any()

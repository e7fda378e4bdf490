"""Worlds drawn from the model's own prior: each draw is a complete, consistent world; no sampling needed.

The extended world holds anchors and seabeds that the fit is not told of: what the model itself says of them
is the witness for what the answers predict.
"""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd
import pytest
import xarray as xr
from whole import whole

from holdcast.campaign import Campaign, read_campaign
from holdcast.capacity import Fit, save, store
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.prior_draws import draw_prior
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.capacity.tree import assemble, keep_posterior, root_attributes
from holdcast.show.figures import intervals
from holdcast.show.figures import sizes as sizes_figure

DRAWS = 2000
ANCHORS = """\
anchor,design,form,mass_kg,tip_load_kg,fluke_area_cm2,flag_roll_bar
A-06,A,scoop,6,2.2,690,yes
A-10,A,scoop,10,3.7,960,yes
A-10-bare,A,scoop,9.4,3.7,960,no
B-12,B,plough,12,3.6,,no
C-14,C,stockless,14,2.0,800,no
"""
SEABEDS = """\
seabed,soil,strength,undrained_strength_kpa
mud,clay,very_low,14
silt,silt,low,
clay,clay,high,
sand,sand,dense,
"""
NEW_ANCHORS = """\
A-16,A,scoop,16,,,yes
D-09,D,scoop,9,,,yes
E-20,E,claw,20,,,no
"""
NEW_SEABEDS = """\
far mud,clay,low,
far stones,gravel,dense,
"""


class Worlds(NamedTuple):
    """A fit of the known part of a world, and the model's own draws of all of it."""

    fit: Fit
    whole: xr.Dataset
    new_anchors: pd.DataFrame
    new_seabeds: pd.DataFrame


def _trials(anchors: str, seabeds: str) -> str:
    names = [line.split(",")[0] for line in anchors.splitlines()[1:]]
    places = [line.split(",")[0] for line in seabeds.splitlines()[1:]]
    rows = [
        "trial,anchor,seabed,test,date,held_n,released_n,stopped_by,load_at,attempts,successes,veer_deg",
        "r1,A-10,mud,reset,2025-05-01,300,,,anchor,10,7,",
        "r2,A-10-bare,mud,reset,2025-05-01,300,,,anchor,10,9,",
        "v1,A-10,mud,veer,2025-05-01,900,,,anchor,,,180",
    ]
    for seabed in places:
        for anchor in names:
            if (anchor, seabed) != ("B-12", "sand"):
                rows.append(f"{anchor} {seabed},{anchor},{seabed},pull,2025-05-01,1500,1800,anchor,anchor,,,")
    return "\n".join(rows) + "\n"


def _campaign(folder: Path, anchors: str, seabeds: str, trials: str) -> Campaign:
    folder.mkdir()
    for name, text in (("anchors", anchors), ("seabeds", seabeds), ("trials", trials)):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    (folder / "campaign.toml").write_text("[boat]\nbow_height_m = 1.0\n", encoding="utf-8")
    return read_campaign(folder)


def _prior_draws(campaign: Campaign, draws: int) -> xr.Dataset:
    """All draws at once; ``tests/capacity/test_prior_draws.py`` holds them against the library's own."""
    inputs = lay_out(campaign)
    model = build_model(inputs, with_overrides(campaign.priors))
    return keep_posterior(draw_prior(model, seed=7, draws=draws), inputs, seed=5)


def _fit(campaign: Campaign, posterior: xr.Dataset) -> Fit:
    inputs = lay_out(campaign)
    tree = assemble(posterior, xr.Dataset(), xr.Dataset(), inputs, campaign, 7)
    tree.attrs = root_attributes(campaign, with_overrides(campaign.priors), 7, "0.1.0")
    return Fit(tree, Verdict(True, ("drawn from the prior",), 0, 1.0, 1e3, 1e3, 1.0, DRAWS))


@pytest.fixture(scope="session")
def worlds(tmp_path_factory: pytest.TempPathFactory) -> Worlds:
    folder = tmp_path_factory.mktemp("worlds")
    trials = _trials(ANCHORS, SEABEDS)
    whole = _campaign(folder / "whole", ANCHORS + NEW_ANCHORS, SEABEDS + NEW_SEABEDS, trials)
    known = _campaign(folder / "known", ANCHORS, SEABEDS, trials)
    drawn = _prior_draws(whole, DRAWS)
    inputs = lay_out(known)
    kept: dict[str, Any] = {
        str(dim): inputs[dim].to_numpy() for dim in inputs.dims if dim in drawn.coords and dim != "component"
    }
    return Worlds(
        _fit(known, drawn.sel(kept)),
        drawn,
        whole.anchors.drop(known.anchors.index),
        whole.seabeds.drop(known.seabeds.index),
    )


@pytest.fixture(scope="session")
def world_fit(worlds: Worlds) -> Fit:
    return worlds.fit


@pytest.fixture(scope="session")
def doubtful_fit(worlds: Worlds) -> Fit:
    """The same draws under a bad verdict."""
    return replace(worlds.fit, verdict=replace(worlds.fit.verdict, ok=False))


@pytest.fixture(scope="session")
def fit_on_rodes(worlds: Worlds) -> Fit:
    """The same draws, as if four pulls had been made on rodes; only the first two tell of falls.

    One at a scope of 5; one with 42 m of rode over 5 m and a bow 1 m up, so at 7; one at 3, whose chain lay
    on the bottom; one at 2, with a rode that is not known.
    """
    groups = {name: group.to_dataset() for name, group in worlds.fit.tree.children.items()}
    trials, inputs = groups["trials"].copy(), groups["constant_data"].copy()
    nan = float("nan")
    written = {
        "scope": [5.0, nan, 3.0, 2.0],
        "rode_length_m": [nan, 42.0, nan, nan],
        "depth_m": [5.0, 5.0, 5.0, nan],
    }
    pulls = list(inputs["trial"].to_numpy()[:4])
    for name, values in written.items():
        by_pull = dict(zip(pulls, values, strict=True))
        trials[name] = ("trial", [by_pull.get(trial, nan) for trial in trials["trial"].to_numpy()])
    rest = [0.0] * (inputs.sizes["trial"] - 4)
    inputs["rode_known"] = ("trial", [True, True, True, False, *map(bool, rest)])
    inputs["fall_upper"] = ("trial", [0.5, 0.3, 0.01, 0.9, *rest])
    tree = xr.DataTree.from_dict(groups | {"trials": trials, "constant_data": inputs})
    tree.attrs = dict(worlds.fit.tree.attrs)
    return replace(worlds.fit, tree=tree)


@pytest.fixture(scope="session")
def saved_once(worlds: Worlds, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("results")
    save(whole(worlds.fit), folder)
    return folder


@pytest.fixture
def results(saved_once: Path, tmp_path: Path) -> Path:
    """A results folder, for one test alone."""
    return Path(shutil.copytree(saved_once, tmp_path / "results"))


@pytest.fixture
def open_fit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[Fit], Path]:
    """Have the commands read a fit that lies on no disk and draw nothing; both are tested elsewhere."""

    def opened(fit: Fit) -> Path:
        monkeypatch.setattr(store, "load", lambda _: fit)
        monkeypatch.setattr(intervals, "save_figure", lambda *_: [])
        monkeypatch.setattr(sizes_figure, "save_sizes_figure", lambda *_, **__: [])
        folder = tmp_path / "opened"
        folder.mkdir(exist_ok=True)
        return folder

    return opened


@pytest.fixture
def opened(open_fit: Callable[[Fit], Path], world_fit: Fit) -> Path:
    """The folder of the world's fit, to be asked without reading and drawing."""
    return open_fit(world_fit)


@pytest.fixture
def read_json(capsys: pytest.CaptureFixture[str]) -> Any:
    return lambda: json.loads(capsys.readouterr().out)

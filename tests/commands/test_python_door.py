"""The door from Python: what the front module offers, and the page's examples, run without sampling."""

import doctest
import importlib
import shutil
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from whole import whole

import holdcast
from holdcast.campaign.records import Campaign
from holdcast.capacity import fitting
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.capacity.tree import assemble, prior_group, root_attributes

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "python.md"


def run_examples(text: str, name: str) -> doctest.TestResults:
    runner = doctest.DocTestRunner()
    runner.run(doctest.DocTestParser().get_doctest(text, {}, name, name, 0))
    return runner.summarize()


@pytest.mark.parametrize("name", holdcast.__all__)
def test_front_module_gives_every_name(name: str) -> None:
    assert getattr(holdcast, name) is not None
    assert name in dir(holdcast)


def test_version_is_that_of_the_package_and_types_are_marked() -> None:
    assert holdcast.__version__ == version("holdcast")
    assert (Path(holdcast.__file__).parent / "py.typed").is_file()


def test_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'capacity_of_everything'"):
        holdcast.capacity_of_everything  # noqa: B018


def test_importing_the_front_module_loads_no_sampler() -> None:
    code = "import sys, holdcast; sys.exit(any(name in sys.modules for name in ('pymc', 'xarray', 'pandas')))"
    subprocess.run([sys.executable, "-c", code], check=True)


def fit_of_the_prior(campaign: Campaign, *, seed: int, quick: bool = False) -> Fit:
    """The real model and tree around draws from its prior: every variable, no sampling."""
    inputs, priors = lay_out(campaign), with_overrides(campaign.priors)
    prior = prior_group(build_model(inputs, priors), inputs, seed)
    chains = [prior.isel(chain=0, draw=slice(first, None, 2)) for first in (0, 1)]
    posterior = xr.concat(
        [chain.assign_coords(draw=range(chain.sizes["draw"])) for chain in chains], "chain", data_vars="all"
    ).assign_coords(chain=[0, 1])
    shape = (2, posterior.sizes["draw"])
    stats = xr.Dataset({"diverging": (("chain", "draw"), np.zeros(shape, dtype=bool))})
    tree = assemble(posterior, stats, prior, inputs, campaign, seed)
    tree.attrs = root_attributes(campaign, priors, seed, version("holdcast"))
    return whole(
        Fit(tree, Verdict(True, ("from the prior",), 0, 1.0, 900.0, 900.0, 1.0, shape[0] * shape[1]))
    )


def test_examples_of_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As a reader would type them, but that a fit with draws from the prior stands in for the real one."""
    shutil.copytree(ROOT / "data" / "demo", tmp_path / "my-campaign")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(fitting, "fit", fit_of_the_prior)
    outcome = run_examples(PAGE.read_text(encoding="utf-8"), "python.md")
    assert outcome.attempted > 20 and outcome.failed == 0


@pytest.mark.parametrize("module", ["holdcast"])
def test_examples_in_docstrings(module: str) -> None:
    outcome = run_examples(importlib.import_module(module).__doc__ or "", module)
    assert outcome.attempted and outcome.failed == 0

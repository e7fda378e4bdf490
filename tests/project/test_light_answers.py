"""Answers from a saved fit need none of the sampler's libraries, which take seconds to load."""

import json
import subprocess
import sys

import pytest

HEAVY = {"arviz", "arviz_stats", "nutpie", "pymc", "pytensor"}
"""Not numba: what a new pull does is worked out in a compiled loop."""
LIGHTEST = (
    "answers.rank.all_rounder",
    "answers.features.features",
    "answers.features.setting_effects",
    "answers.compare.compare",
    "answers.classtest.classtest",
    "commands.rank",
    "commands.features",
    "show.views.rank",
)
"""Imported first, before another answer brings what these do without."""
ANSWERS = (
    "capacity.store",
    "capacity.pointwise.pulls",
    "answers.boat.boat",
    "answers.cells.cells",
    "answers.features.pairs",
    "answers.predict.predict",
    "answers.rank.rank",
    "answers.readings.expected",
    "answers.readings.tail",
    "answers.sizes.sizes",
)
ADDING = ("answers.readings.added", "commands.add", "campaign.new_trials")
IMPORTED = """
import importlib, json, sys
loaded = {}
for name in sys.argv[1:]:
    importlib.import_module(f"holdcast.{name}")
    loaded[name] = [module for module in sys.modules if module.count(".") < 2]
print(json.dumps(loaded))
"""


@pytest.fixture(scope="module")
def loaded() -> dict[str, set[str]]:
    """What one process has loaded after each of the modules, in their order."""
    command = [sys.executable, "-c", IMPORTED, *LIGHTEST, *ANSWERS, *ADDING]
    result = subprocess.run(command, capture_output=True, text=True, check=True)
    return {name: set(modules) for name, modules in json.loads(result.stdout).items()}


@pytest.mark.parametrize("module", [*LIGHTEST, *ANSWERS])
def test_an_answer_loads_no_sampler(loaded: dict[str, set[str]], module: str) -> None:
    assert HEAVY.isdisjoint(loaded[module])


def test_adding_trials_loads_no_model(loaded: dict[str, set[str]]) -> None:
    """Its weights are smoothed by ArviZ's statistics, which is all of the heavy ones that it needs."""
    assert (HEAVY - {"arviz_stats"}).isdisjoint(loaded[ADDING[-1]])


def test_explaining_a_cell_compiles_nothing() -> None:
    """Its weights are smoothed by ArviZ's statistics; likelihoods of single pulls are plain arrays."""
    parts = ("band_sources", "explain", "influence", "prior_sensitivity", "setting_evidence", "spread_priors")
    modules = ", ".join(f"holdcast.answers.explain.{part}" for part in parts)
    code = f"import sys, {modules}, holdcast.commands.explain; print(*sys.modules)"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ((HEAVY | {"numba", "matplotlib"}) - {"arviz_stats"}).isdisjoint(result.stdout.split())


def test_ranks_and_features_solve_nothing_and_compile_nothing(loaded: dict[str, set[str]]) -> None:
    """So they start without any of scipy, without pictures and without the compiler: a second less."""
    assert (HEAVY | {"numba", "scipy", "matplotlib"}).isdisjoint(loaded[LIGHTEST[-1]])

"""Answers from a saved fit need none of the sampler's libraries, which take seconds to load."""

import json
import subprocess
import sys

import pytest

HEAVY = {"arviz", "arviz_stats", "nutpie", "pymc", "pytensor"}
SLOW_TO_LOAD = HEAVY | {"numba", "scipy", "matplotlib"}
"""Half a second and more together, of which most answers need nothing."""
LIGHTEST = (
    "answers.rank.all_rounder",
    "answers.features.features",
    "answers.features.setting_effects",
    "answers.compare.compare",
    "answers.classtest.classtest",
    "commands.rank",
    "commands.features",
    "show.views.rank",
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
    *(
        f"answers.explain.{part}"
        for part in (
            "band_sources",
            "explain",
            "influence",
            "prior_sensitivity",
            "setting_evidence",
            "spread_priors",
        )
    ),
    "answers.plan.plan",
    "answers.page.day_readings",
    "commands.boat",
    "commands.explain",
    "commands.plan",
    "commands.predict",
    "commands.published.day_file",
    "commands.sizes",
)
"""Imported first, before another answer brings what these do without."""
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
    command = [sys.executable, "-c", IMPORTED, *LIGHTEST, *ADDING]
    result = subprocess.run(command, capture_output=True, text=True, check=True)
    return {name: set(modules) for name, modules in json.loads(result.stdout).items()}


@pytest.mark.parametrize("module", LIGHTEST)
def test_an_answer_loads_nothing_slow(loaded: dict[str, set[str]], module: str) -> None:
    """No sampler, compiler, special functions or pictures: a command starts in half a second less."""
    assert SLOW_TO_LOAD.isdisjoint(loaded[module])


def test_adding_trials_loads_no_model(loaded: dict[str, set[str]]) -> None:
    """The likelihood of new tests is compiled, and the compiler brings scipy's linear algebra."""
    assert HEAVY.isdisjoint(loaded[ADDING[-1]])


def test_criticising_loads_no_sampler() -> None:
    """Models are compared by ArviZ's statistics, which are read only where there are several."""
    modules = "holdcast.commands.published.whole_criticism, holdcast.answers.criticise.residuals"
    code = f"import sys, {modules}, holdcast.answers.criticise.trends; print(*sys.modules)"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert HEAVY.isdisjoint(result.stdout.split())

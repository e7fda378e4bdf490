"""Answers from a saved fit need none of the sampler's libraries, which take seconds to load."""

import subprocess
import sys

import pytest

HEAVY = {"arviz", "arviz_stats", "nutpie", "pymc", "pytensor"}
"""Not numba: what a new pull does is worked out in a compiled loop."""
MODULES = (
    "holdcast.capacity.store",
    "holdcast.answers.boat.boat",
    "holdcast.answers.cells.cells",
    "holdcast.answers.classtest.classtest",
    "holdcast.answers.compare.compare",
    "holdcast.capacity.pointwise.pulls",
    "holdcast.answers.features.features",
    "holdcast.answers.features.pairs",
    "holdcast.answers.predict.predict",
    "holdcast.answers.rank.rank",
    "holdcast.answers.readings.expected",
    "holdcast.answers.readings.tail",
    "holdcast.answers.sizes.sizes",
)


@pytest.mark.parametrize("module", MODULES)
def test_an_answer_loads_no_sampler(module: str) -> None:
    code = f"import sys, {module}; print(*sys.modules)"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert HEAVY.isdisjoint(result.stdout.split())


def test_adding_trials_loads_no_model() -> None:
    """Its weights are smoothed by ArviZ's statistics, which is all of the heavy ones that it needs."""
    module = "holdcast.answers.readings.added"
    code = f"import sys, {module}, holdcast.commands.add, holdcast.campaign.new_trials; print(*sys.modules)"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert (HEAVY - {"arviz_stats"}).isdisjoint(result.stdout.split())


def test_explaining_a_cell_compiles_nothing() -> None:
    """Its weights are smoothed by ArviZ's statistics; likelihoods of single pulls are plain arrays."""
    parts = ("band_sources", "explain", "influence", "prior_sensitivity", "setting_evidence", "spread_priors")
    modules = ", ".join(f"holdcast.answers.explain.{part}" for part in parts)
    code = f"import sys, {modules}, holdcast.commands.explain; print(*sys.modules)"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ((HEAVY | {"numba", "matplotlib"}) - {"arviz_stats"}).isdisjoint(result.stdout.split())


def test_ranks_and_features_solve_nothing_and_compile_nothing() -> None:
    """So they start without any of scipy, without pictures and without the compiler: a second less."""
    modules = (
        "holdcast.answers.rank.all_rounder, holdcast.answers.features.features, holdcast.commands.rank, "
        "holdcast.answers.features.setting_effects, holdcast.answers.compare.compare, "
        "holdcast.answers.classtest.classtest, holdcast.commands.features, holdcast.show.views.rank"
    )
    code = f"import sys, {modules}; print(*sys.modules)"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert (HEAVY | {"numba", "scipy", "matplotlib"}).isdisjoint(result.stdout.split())

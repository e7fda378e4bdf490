"""Running the sampler, with progress for a person."""

import os
import time
from dataclasses import dataclass
from typing import Any

import xarray as xr

from holdcast.capacity.progress import Progress, silent
from holdcast.capacity.sampler.compiling import POINT, CompiledModel

__all__ = ["ATTEMPTS", "Effort", "draw_posterior"]


@dataclass(frozen=True)
class Effort:
    """How hard the sampler tries: draws and tuning steps a chain, and the acceptance it aims at."""

    draws: int
    tune: int
    target_accept: float
    chains: int = 4


ATTEMPTS = (Effort(1000, 400, 0.8), Effort(2000, 1500, 0.95), Effort(4000, 3000, 0.98))
"""Tried in order until the verdict is good."""


def draw_posterior(
    compiled: CompiledModel,
    effort: Effort,
    seed: int,
    progress: Progress = silent,
    *,
    cores: int | None = None,
) -> tuple[xr.DataTree, float]:
    """Return draws of the model's variables, the sampler's statistics, and how long they took [s].

    Parameters
    ----------
    compiled : CompiledModel
        The model to sample.
    effort : Effort
        Draws, tuning, target.
    seed : int
        The same seed gives the same draws, whatever the number of cores.
    progress : callable
        Called a few times a second at most.
    cores : int, optional
        Chains run at once; by default as many as the machine has, at most one a chain.

    Raises
    ------
    KeyboardInterrupt
        When it is stopped; no draws are returned then.
    """
    import nutpie

    start = time.perf_counter()
    running = nutpie.sample(
        compiled.sampler_model,
        draws=effort.draws,
        tune=effort.tune,
        chains=effort.chains,
        cores=cores or min(effort.chains, os.cpu_count() or 1),
        seed=seed,
        target_accept=effort.target_accept,
        save_warmup=False,
        progress_bar=False,
        progress_callback=_Reporter(effort, progress),
        progress_rate=500,
        blocking=False,  # or the library takes Ctrl-C for "enough draws", and the fit goes on with those
    )
    try:
        tree = running.wait()
    except BaseException:
        running.cancel()
        raise
    variables = compiled.derivation.variables(tree["posterior"][POINT], compiled.data)
    groups = {"posterior": variables, "sample_stats": tree["sample_stats"].to_dataset()}
    return xr.DataTree.from_dict(groups), time.perf_counter() - start


class _Reporter:
    """Turns the sampler's own progress into one line, only when it says something new."""

    def __init__(self, effort: Effort, progress: Progress) -> None:
        self.steps = effort.chains * (effort.draws + effort.tune)
        self.progress, self.shown = progress, ""

    def __call__(self, chains: list[Any]) -> None:
        done = sum(int(chain.finished_draws) for chain in chains)
        divergences = sum(int(chain.divergences) for chain in chains)
        running = sum(0 < int(chain.finished_draws) < int(chain.total_draws) for chain in chains)
        tenth = 10 * (10 * done // max(self.steps, 1))
        sentence = f"{divergences} divergence{'' if divergences == 1 else 's'}"
        line = f"sampling: {tenth}% of {len(chains)} chains, {running} running, {sentence}"
        if line != self.shown:
            self.shown = line
            self.progress(line)

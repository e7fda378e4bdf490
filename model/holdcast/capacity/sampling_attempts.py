"""Sampling in a few attempts, each harder than the one before, until the checks pass."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import xarray as xr

from holdcast.capacity.progress import Progress
from holdcast.capacity.sampler.compiling import CompiledModel
from holdcast.capacity.sampler.sampling import Effort, draw_posterior
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.capacity.tree import keep_posterior

__all__ = ["sample_until_good"]

_STATISTICS = ["diverging", "energy", "n_steps", "step_size"]


def sample_until_good(
    compiled: CompiledModel,
    inputs: xr.Dataset,
    seed: int,
    progress: Progress,
    *,
    efforts: Sequence[Effort],
    verdict_of: Callable[[xr.Dataset, xr.Dataset], Verdict],
) -> tuple[xr.Dataset, xr.Dataset, Verdict]:
    """Return draws, the sampler's statistics and the verdict of the first attempt whose verdict is good.

    Parameters
    ----------
    compiled : CompiledModel
        The campaign's model.
    inputs : Dataset
        What the model was told.
    seed, progress
        As for :func:`holdcast.capacity.fit`.
    efforts : sequence of Effort
        One an attempt; the last one counts whatever its verdict.
    verdict_of : callable
        From draws and statistics to a verdict.
    """
    seconds = 0.0
    for attempt, effort in enumerate(efforts, start=1):
        progress(f"sampling: attempt {attempt}, {effort.chains} chains of {effort.draws} draws")
        raw, spent = draw_posterior(compiled, effort, seed, progress)
        seconds += spent
        posterior = keep_posterior(raw["posterior"].to_dataset(), inputs, seed)
        statistics = raw["sample_stats"].to_dataset()[_STATISTICS]
        verdict = verdict_of(posterior, statistics)
        if verdict.ok:
            break
    verdict = replace(verdict, attempts=attempt, seconds_compile=compiled.seconds, seconds_sample=seconds)
    return posterior, statistics, verdict

"""A quick fit: the same model and sampler with few draws, for a first look at a campaign.

A normal at the mode, the usual way to be quick, was tried and is not used: this model's joint mode lies where
the spreads of designs are far too large, and its bands came out three to four times too wide (docs/quick.md).
"""

from dataclasses import replace

import xarray as xr

from holdcast.capacity.progress import Progress
from holdcast.capacity.sampler.compiling import CompiledModel
from holdcast.capacity.sampler.sampling import Effort
from holdcast.capacity.sampler.verdict import Limits, Verdict, judge
from holdcast.capacity.sampling_attempts import sample_until_good
from holdcast.marks import APPROXIMATE, BAND_ENDS_OFF

__all__ = ["quick_draws", "quick_title"]

_EFFORTS = (Effort(300, 300, 0.8, chains=2), Effort(1000, 500, 0.9, chains=2))
"""The second, a few times as long, only where the first falls short: mostly on a short log."""
_LIMITS = Limits(ess=100.0, rhat=1.05, divergences_per_1000=10.0, asked_of="every cell")
"""Of the cells alone; enough for a look (a choice, no source)."""


def quick_title(title: str) -> str:
    """Return a campaign's title with the mark: it stands on every page, figure and answer."""
    return f"{APPROXIMATE} quick fit: {title}" if title else f"{APPROXIMATE} quick fit"


def quick_draws(
    compiled: CompiledModel, inputs: xr.Dataset, seed: int, progress: Progress
) -> tuple[xr.Dataset, xr.Dataset, Verdict]:
    """Return draws, the sampler's statistics and the verdict of a quick fit.

    Parameters
    ----------
    compiled, inputs, seed, progress
        As for :func:`holdcast.capacity.sampling_attempts.sample_until_good`.
    """
    posterior, statistics, verdict = sample_until_good(
        compiled, inputs, seed, progress, efforts=_EFFORTS, verdict_of=_verdict
    )
    sentences = (_caution(verdict.draws), *verdict.sentences) if verdict.ok else verdict.sentences
    return posterior, statistics, replace(verdict, sentences=sentences, approximate=True)


def _verdict(posterior: xr.Dataset, statistics: xr.Dataset) -> Verdict:
    draws = {"posterior": posterior[["log_capacity"]], "sample_stats": statistics}
    return judge(xr.DataTree.from_dict(draws), ["log_capacity"], _LIMITS)


def _caution(draws: int) -> str:
    mean, largest = (round(100.0 * share) for share in BAND_ENDS_OFF)
    return (
        f"{APPROXIMATE}: a quick fit of {draws} draws, judged by its cells alone. On the invented demo such "
        f"fits put the ends of 90% bands off by {mean}% of the band's width on average and {largest}% at "
        "worst. Fit without --quick before you publish or rely on a number."
    )

"""From a campaign to a fit: the one front function of this room."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib.metadata import version

import pymc as pm
import xarray as xr

from holdcast.campaign.checks.need_pulls import need_pulls
from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import Prior, with_overrides
from holdcast.capacity.quick import quick_draws, quick_title
from holdcast.capacity.sampler.compiling import CompiledModel, compile_model
from holdcast.capacity.sampler.sampling import ATTEMPTS, Progress, draw_posterior, silent
from holdcast.capacity.sampler.verdict import Verdict, judge
from holdcast.capacity.tree import assemble, judged_draws, keep_posterior, prior_group, root_attributes

__all__ = ["DEFAULT_SEED", "Fit", "fit", "fit_model"]

DEFAULT_SEED = 20_260_601
"""Seed when none is given; any number would do, a fixed one makes two runs agree."""


@dataclass(frozen=True)
class Fit:
    """A fitted campaign.

    Attributes
    ----------
    tree : DataTree
        Groups as in an ArviZ tree (posterior, prior, sample_stats, …) and the campaign's own tables; see
        :mod:`holdcast.capacity.tree`.
    verdict : Verdict
        Whether the draws can be relied on.
    """

    tree: xr.DataTree
    verdict: Verdict

    @property
    def posterior(self) -> xr.Dataset:
        """The draws, dims (chain, draw, …)."""
        return self.tree["posterior"].to_dataset()

    @property
    def inputs(self) -> xr.Dataset:
        """What the model was told, labelled."""
        return self.tree["constant_data"].to_dataset()


def fit(
    campaign: Campaign, *, seed: int = DEFAULT_SEED, quick: bool = False, progress: Progress = silent
) -> Fit:
    """Fit the capacity model to a campaign's used pulls.

    Parameters
    ----------
    campaign : Campaign
        As read by :func:`holdcast.campaign.read_campaign`.
    seed : int
        Of everything random; the same seed gives the same result.
    quick : bool
        Take few draws, for a first look; the fit is marked as approximate (:mod:`holdcast.capacity.quick`).
    progress : callable
        Told what is being done, one line at a time.

    Returns
    -------
    Fit
        With the verdict of the last attempt; a bad verdict is returned, not raised.

    Raises
    ------
    CampaignError
        When no pull can be used, or campaign.toml names a prior or parameter that does not exist.
    """
    need_pulls(campaign)
    priors = with_overrides(campaign.priors)
    progress("laying the campaign out")
    inputs = lay_out(campaign)
    model = build_model(inputs, priors)
    return fit_model(campaign, inputs, priors, model, seed=seed, quick=quick, progress=progress)


def fit_model(
    campaign: Campaign,
    inputs: xr.Dataset,
    priors: Mapping[str, Prior],
    model: pm.Model,
    *,
    seed: int,
    progress: Progress,
    quick: bool = False,
) -> Fit:
    """Return the fit of a model already built, with everything the answers need.

    Parameters
    ----------
    campaign, inputs, priors, model
        What was read, how it was laid out, and the model made of that.
    seed, progress, quick
        As for :func:`fit`.
    """
    progress("compiling the model: most of a minute the first time, a few seconds later")
    compiled = compile_model(model, own_source=True)
    draws = quick_draws if quick else _sample
    posterior, stats, verdict = draws(compiled, inputs, seed, progress)
    progress("drawing from the prior and checking each pull")
    tree = assemble(posterior, stats, prior_group(model, inputs, seed), inputs, campaign, seed)
    tree.attrs = root_attributes(campaign, priors, seed, version("holdcast"))
    if quick:
        tree.attrs["title"] = quick_title(campaign.title)
    return Fit(tree, verdict)


def _sample(
    compiled: CompiledModel, inputs: xr.Dataset, seed: int, progress: Progress
) -> tuple[xr.Dataset, xr.Dataset, Verdict]:
    """Sample, trying harder while the verdict is bad; the last attempt counts."""
    seconds = 0.0
    for attempt, effort in enumerate(ATTEMPTS, start=1):
        progress(f"sampling: attempt {attempt}, {effort.chains} chains of {effort.draws} draws")
        raw, spent = draw_posterior(compiled, effort, seed, progress)
        seconds += spent
        posterior = keep_posterior(raw["posterior"].to_dataset(), inputs, seed)
        stats = raw["sample_stats"].to_dataset()[["diverging", "energy", "n_steps", "step_size"]]
        judged = judged_draws(posterior, inputs)
        tree = xr.DataTree.from_dict({"posterior": judged, "sample_stats": stats})
        verdict = judge(tree, list(map(str, judged.data_vars)))
        verdict = replace(verdict, attempts=attempt, seconds_compile=compiled.seconds, seconds_sample=seconds)
        if verdict.ok:
            break
    return posterior, stats, verdict

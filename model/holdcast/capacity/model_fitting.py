"""From a model to a fit: compiling, sampling until the verdict is good, and what the answers need besides."""

from collections.abc import Mapping
from importlib.metadata import version

import pymc as pm
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity.fitting import Fit
from holdcast.capacity.model.priors import Prior
from holdcast.capacity.progress import Progress
from holdcast.capacity.quick import quick_draws, quick_title
from holdcast.capacity.sampler.compiling import CompiledModel, compile_model
from holdcast.capacity.sampler.sampling import ATTEMPTS
from holdcast.capacity.sampler.verdict import Verdict, judge
from holdcast.capacity.sampling_attempts import sample_until_good
from holdcast.capacity.tree import assemble, judged_draws, prior_group, root_attributes

__all__ = ["fit_model"]


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
        As for :func:`holdcast.capacity.fit`.
    """
    progress("compiling the model: most of a minute the first time, a few seconds later")
    compiled = compile_model(model, own_source=True)
    draws = quick_draws if quick else _sample
    posterior, stats, verdict = draws(compiled, inputs, seed, progress)
    progress("drawing from the prior and checking each pull")
    attributes = root_attributes(campaign, priors, seed, version("holdcast"))
    prior = prior_group(model, inputs, seed)
    tree = assemble(posterior, stats, prior, inputs, campaign, seed, str(attributes["priors"]))
    tree.attrs = attributes
    if quick:
        tree.attrs["title"] = quick_title(campaign.title)
    return Fit(tree, verdict)


def _sample(
    compiled: CompiledModel, inputs: xr.Dataset, seed: int, progress: Progress
) -> tuple[xr.Dataset, xr.Dataset, Verdict]:
    """Sample, trying harder while the verdict is bad; the last attempt counts."""

    def verdict_of(posterior: xr.Dataset, statistics: xr.Dataset) -> Verdict:
        judged = judged_draws(posterior, inputs)
        tree = xr.DataTree.from_dict({"posterior": judged, "sample_stats": statistics})
        return judge(tree, list(map(str, judged.data_vars)))

    return sample_until_good(compiled, inputs, seed, progress, efforts=ATTEMPTS, verdict_of=verdict_of)

"""From a campaign to a fit: the one front function of this room."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import xarray as xr

from holdcast.campaign.checks.need_pulls import need_pulls
from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.progress import Progress, silent
from holdcast.capacity.sampler.verdict import Verdict

__all__ = ["DEFAULT_SEED", "Fit", "fit"]

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

    @cached_property
    def laid_out(self) -> dict[str, Any]:
        """What answers have laid out of the tree, by name, so that the next one finds it; see ``Draws``."""
        return {}

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
    ResultsError
        When the campaign's tables could not be written, or not be read back.
    """
    need_pulls(campaign)
    priors = with_overrides(campaign.priors)
    progress("laying the campaign out")
    inputs = lay_out(campaign)
    # Imported here: the sampler's libraries take seconds, and reading a fit needs none of them.
    from holdcast.capacity.results.rehearsal import rehearse

    rehearse(campaign, inputs, priors, seed)
    from holdcast.capacity.model.build import build_model
    from holdcast.capacity.model_fitting import fit_model

    model = build_model(inputs, priors)
    return fit_model(campaign, inputs, priors, model, seed=seed, quick=quick, progress=progress)

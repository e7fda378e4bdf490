"""The model with one part left out, fitted to the same pulls, to tell what that part is worth."""

from typing import Final

import xarray as xr

from holdcast.campaign.checks.need_pulls import need_pulls
from holdcast.campaign.records import Campaign
from holdcast.capacity.fitting import DEFAULT_SEED, Fit
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.model_fitting import fit_model
from holdcast.capacity.progress import Progress, silent

__all__ = ["VARIANTS", "fit_variant"]

WITHOUT_PENETRATION: Final = "without penetration"
WITHOUT_FEATURES: Final = "without features"
VARIANTS: tuple[str, ...] = (WITHOUT_PENETRATION, WITHOUT_FEATURES)
"""What can be left out."""


def fit_variant(
    campaign: Campaign, variant: str, *, seed: int = DEFAULT_SEED, progress: Progress = silent
) -> Fit:
    """Fit the capacity model less one part.

    Parameters
    ----------
    campaign : Campaign
        As read by :func:`holdcast.campaign.read_campaign`.
    variant : str
        One of `VARIANTS`.
    seed, progress
        As for :func:`holdcast.capacity.fit`.

    Returns
    -------
    Fit
        For comparison only: its cells are not the program's answer.

    Raises
    ------
    ValueError
        When there is no such variant.
    CampaignError
        As for :func:`holdcast.capacity.fit`.
    """
    if variant not in VARIANTS:
        raise ValueError(f"there is no variant {variant!r}; there are: {', '.join(VARIANTS)}")
    need_pulls(campaign)
    priors = with_overrides(campaign.priors)
    inputs = lay_out(campaign)
    if variant == WITHOUT_FEATURES:
        inputs = _featureless(inputs)
    model = build_model(inputs, priors, penetration=variant != WITHOUT_PENETRATION)
    return fit_model(campaign, inputs, priors, model, seed=seed, progress=progress)


def _featureless(inputs: xr.Dataset) -> xr.Dataset:
    return inputs.isel(feature=slice(0, 0))

"""What the root of a fit's tree says of its making."""

import json
from collections.abc import Mapping
from dataclasses import asdict
from functools import cache

from holdcast.campaign.records import Campaign
from holdcast.capacity.model.priors import Prior
from holdcast.capacity.results.pair import RESULTS_VERSION
from holdcast.source_digest import source_digest

__all__ = ["FIT_CODE", "fit_code_digest", "root_attributes"]

FIT_CODE = ("campaign", "capacity", "physics")
"""Code that draws come from: how a campaign is read, the model and what lies beneath it."""


@cache
def fit_code_digest() -> str:
    """Return a digest of the program that fits, taken once: its source may be edited while it runs."""
    return source_digest(FIT_CODE, ("tables",))


def root_attributes(
    campaign: Campaign, priors: Mapping[str, Prior], seed: int, version: str
) -> dict[str, str | int]:
    """Return what the root of the tree says of its making; all plain text and numbers."""
    dates = campaign.trials["date"].dropna()
    return {
        "results_version": RESULTS_VERSION,
        "version": version,
        "code": fit_code_digest(),
        "seed": seed,
        "title": campaign.title,
        "author": campaign.author,
        "licence": campaign.licence,
        "input_hash": campaign.digest,
        "newest_trial": "" if dates.empty else f"{dates.max():%Y-%m-%d}",
        "priors": json.dumps({name: dict(prior.parameters) for name, prior in priors.items()}),
        "thresholds": json.dumps(dict(campaign.thresholds)),
        "weights": json.dumps(dict(campaign.weights)),
        "kind_weights": json.dumps(dict(campaign.kind_weights)),
        "boat": json.dumps(dict(campaign.boat)),
        "units": campaign.units,
        "doubts": json.dumps([asdict(doubt) for doubt in campaign.doubts]),
    }

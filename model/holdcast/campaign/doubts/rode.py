"""Doubts about what the rode lets a reading say of the load at the anchor."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from holdcast.campaign.records import Campaign, Finding, pulls_with_load
from holdcast.campaign.rode_geometry import rode_geometry
from holdcast.physics.rode.loads import load_at_anchor
from holdcast.physics.rode.make_up import make_rode

__all__ = ["rode_doubts"]

LARGE_SHARE = 1.0 / 3.0
"""Share of a reading that weight and friction of the rode may take before a person should look [1] (a choice,
since friction of chain on the bottom is known to a third at best)."""
_LISTED_TRIALS = 6


def rode_doubts(campaign: Campaign) -> tuple[Finding, ...]:
    """Return a doubt for pulls whose rode is only half told, and one for those that it takes a large part of.

    Only pulls that the fit uses count.
    """
    pulls = pulls_with_load(campaign.trials)
    geometry = rode_geometry(campaign, pulls)
    return (*_half_told(pulls, geometry), *_mostly_rode(pulls, geometry))


def _half_told(pulls: pd.DataFrame, geometry: pd.DataFrame) -> tuple[Finding, ...]:
    written = pulls["scope"].notna() | pulls["rode_length_m"].notna()
    half = pulls.index[written & ~geometry["known"]]
    if not len(half):
        return ()
    geometry_of_half = geometry.loc[half]
    without_chain = geometry_of_half["chain_kg_per_m"].isna() & (geometry_of_half["chain_length_m"] != 0.0)
    missing = {"depth": geometry_of_half["depth_m"].isna().any(), "chain": without_chain.any()}
    lacking = [word for word, lacks in missing.items() if lacks]
    return (
        _doubt(
            f"{_number(half)} with a scope or length of rode, but no {' or no '.join(lacking)} "
            f"({_listed(half)})",
            "depth, and the chain's weight and length or a rode of rodes.csv",
            "Such a pull counts as pulled along the bottom, so a steep pull looks like a weak anchor. For a "
            "rode without chain write 0 in chain_length_m.",
        ),
    )


def _mostly_rode(pulls: pd.DataFrame, geometry: pd.DataFrame) -> tuple[Finding, ...]:
    rows = geometry[geometry["known"] & (pulls["load_at"] == "bow")]
    if not len(rows):
        return ()
    rode = make_rode(
        *(rows[name] for name in ("depth_m", "length_m", "chain_kg_per_m", "chain_length_m")),
        bow_height_m=rows["bow_m"],
    )
    released = pulls.loc[rows.index, "released_n"]
    read = released.where(np.isfinite(released), pulls.loc[rows.index, "held_n"]).to_numpy()
    at_anchor = load_at_anchor(read, rode, below_weight="zero")
    weak = rows.index[at_anchor < (1.0 - LARGE_SHARE) * read]
    if not len(weak):
        return ()
    return (
        _doubt(
            f"{_number(weak)} ({_listed(weak)}): the rode's weight and friction take more than a third of "
            "the reading",
            "readings well above what the rode takes",
            "Friction of chain on the bottom is known to a third at best, so little is known of the load at "
            "the anchor. Check chain and length; let out less chain, or measure at the anchor.",
        ),
    )


def _number(trials: Sequence[str] | pd.Index) -> str:
    return "1 pull" if len(trials) == 1 else f"{len(trials)} pulls"


def _listed(trials: pd.Index) -> str:
    names = ", ".join(map(str, trials[:_LISTED_TRIALS]))
    return f"{names} and {len(trials) - _LISTED_TRIALS} more" if len(trials) > _LISTED_TRIALS else names


def _doubt(found: str, allowed: str, fix: str) -> Finding:
    return Finding("doubt", "trials.csv", None, "rode", found, allowed, fix)

"""Doubts about drag speeds at which the ground does more than the law of speed knows."""

import pandas as pd

from holdcast.campaign.records import Campaign, Finding, pulls_with_load
from holdcast.plain_numbers import significant

__all__ = ["speed_doubts"]

DRAINED_SPEED_MPS = 0.1
"""Speed up to which water follows the grains of dense fine sand well enough [m/s] (a choice).

Ploughs in fine sand, drawn at 0.03 to 0.2 m/s, need much more force the faster they go, because dense sand
sucks water in as it shears: Palmer 1999, *Géotechnique* 49:285; Cathie & Wintgens 2001, OTC 13145 (values
from memory)."""
_DENSE = ("dense", "very_dense")
_LISTED_TRIALS = 6


def speed_doubts(campaign: Campaign) -> tuple[Finding, ...]:
    """Return one doubt for pulls in dense sand that ran faster than water can follow."""
    pulls = pulls_with_load(campaign.trials)
    ground = campaign.seabeds[["soil", "strength"]].reindex(pulls["seabed"]).set_axis(pulls.index)
    dense = (ground["soil"] == "sand") & ground["strength"].isin(_DENSE)
    fast = pulls.index[dense & (pulls["speed_mps"] > DRAINED_SPEED_MPS)]
    return (_doubt(fast, pulls.loc[fast, "speed_mps"]),) if len(fast) else ()


def _doubt(trials: pd.Index, speeds: pd.Series) -> Finding:
    listed = ", ".join(map(str, trials[:_LISTED_TRIALS]))
    more = f" and {len(trials) - _LISTED_TRIALS} more" if len(trials) > _LISTED_TRIALS else ""
    what = "1 pull" if len(trials) == 1 else f"{len(trials)} pulls"
    return Finding(
        "doubt",
        "trials.csv",
        None,
        "speed",
        f"{what} in dense sand at up to {significant(float(speeds.max()), 2)} m/s ({listed}{more})",
        f"at most {DRAINED_SPEED_MPS:g} m/s where sand is dense and fine",
        "Pulled fast, dense fine sand may hold several times what it holds at rest, and the model takes off "
        "a quarter at most. Pull slower there.",
    )

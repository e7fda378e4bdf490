"""Doubts about the rode once capacities are known: an anchor may hold more than the rode may be worked at."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.campaign.doubts.gear import links_of
from holdcast.campaign.records import Finding
from holdcast.capacity.fitting import Fit
from holdcast.physics.errors import PhysicsError
from holdcast.physics.tackle.strength import Link, overload, weakest_link

__all__ = ["tackle_doubts"]

_LISTED_ANCHORS = 6


def tackle_doubts(fit: Fit, table: xr.Dataset) -> list[Finding]:
    """Return a doubt for each rode whose weakest link is below the 95% capacity of an anchor it pulled.

    Parameters
    ----------
    fit : Fit
        With group ``rodes`` when the campaign names rodes.
    table : Dataset
        The fit's cells, dims (anchor, seabed, quantile).
    """
    if "rodes" not in fit.tree.children:
        return []
    trials = fit.tree["trials"].to_dataset().to_dataframe()
    most = table["capacity_n"].sel(quantile=0.95).max("seabed").to_series()
    found = []
    for rode, row in fit.tree["rodes"].to_dataset().to_dataframe().iterrows():
        try:
            links = links_of(row)
        except PhysicsError:  # already a doubt about rodes.csv
            continue
        pulled = most[most.index.isin(trials.loc[trials["rode"] == rode, "anchor"])]
        if links and (pulled > weakest_link(links).working_n).any():
            found.append(_doubt(str(rode), pulled, links))
    return found


def _doubt(rode: str, pulled: pd.Series, links: tuple[Link, ...]) -> Finding:
    beyond = pulled[pulled > weakest_link(links).working_n]
    names = ", ".join(map(str, beyond.index[:_LISTED_ANCHORS]))
    more = f" and {len(beyond) - _LISTED_ANCHORS} more" if len(beyond) > _LISTED_ANCHORS else ""
    return Finding(
        "doubt",
        "rodes.csv",
        None,
        "rode",
        f"rode {rode}; {names}{more} may hold up to {float(np.max(beyond)):.0f} N (95%)",
        overload(float(np.max(beyond)), links),
        "the rode may part before the anchor lets go: stronger links, or lower test loads, and people clear",
    )

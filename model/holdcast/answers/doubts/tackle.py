"""Doubts about the rode once capacities are known: an anchor may hold more than the rode may be worked at."""

import numpy as np
import xarray as xr

from holdcast.answers.doubts.result_doubt import ResultDoubt, listed
from holdcast.capacity.fitting import Fit
from holdcast.physics.errors import PhysicsError
from holdcast.physics.tackle.rode_row import links_of
from holdcast.physics.tackle.strength import overload, weakest_link

__all__ = ["tackle_doubts"]


def tackle_doubts(fit: Fit, cells: xr.Dataset) -> list[ResultDoubt]:
    """Return a doubt for each rode whose weakest link is below the 95% capacity of an anchor it pulled.

    Parameters
    ----------
    fit : Fit
        With group ``rodes`` when the campaign names rodes.
    cells : Dataset
        The fit's cells, dims (anchor, seabed, quantile).
    """
    if "rodes" not in fit.tree.children:
        return []
    trials = fit.tree["trials"].to_dataset().to_dataframe()
    most = cells["capacity_n"].sel(quantile=0.95).max("seabed").to_series()
    doubts = []
    for rode, row in fit.tree["rodes"].to_dataset().to_dataframe().iterrows():
        try:
            links = links_of(row.to_dict())
        except PhysicsError:  # already a doubt about rodes.csv
            continue
        pulled = most[most.index.isin(trials.loc[trials["rode"] == rode, "anchor"])]
        beyond = pulled[pulled > weakest_link(links).working_n] if links else pulled[:0]
        if len(beyond):
            load = float(np.max(beyond))
            about = f"rode {rode}; {listed(list(map(str, beyond.index)))} may hold up to {load:.0f} N (95%)"
            advice = "the rode may part first: use stronger links or lower loads, and keep people clear of it"
            doubts.append(ResultDoubt(about, overload(load, links), advice))
    return doubts

"""What lies on top of the seabeds as the model takes it: which seabed has which cover."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.campaign.columns.known_columns import BARE

__all__ = ["BARE", "cover_inputs"]


def cover_inputs(seabeds: pd.DataFrame) -> xr.Dataset:
    """Return which seabed has which cover.

    Parameters
    ----------
    seabeds : DataFrame
        As ``Campaign.seabeds``.

    Returns
    -------
    Dataset, dims (seabed, cover)
        ``has_cover`` (1 or 0) over the covers that some seabed has, in the order in which they are met.  A
        blank cell counts as bare ground; without any cover the dim has length 0, and the model has no such
        effect.
    """
    words = seabeds["cover"] if "cover" in seabeds else pd.Series(BARE, index=seabeds.index)
    covers = [cover for cover in dict.fromkeys(words) if cover not in ("", BARE)]
    has = np.array([words == cover for cover in covers], dtype=float).reshape(len(covers), len(seabeds))
    return xr.Dataset(
        {"has_cover": (("seabed", "cover"), has.T)},
        coords={"seabed": list(seabeds.index), "cover": np.array(covers, dtype=str)},
    )

"""How the rode of each test led, gathered from its row, the rode it names and the boat."""

import numpy as np
import pandas as pd

from holdcast.campaign.records import Campaign

__all__ = ["rode_geometry"]


def rode_geometry(campaign: Campaign, rows: pd.DataFrame) -> pd.DataFrame:
    """Return depth, lengths and weight of the rode of each test.

    Parameters
    ----------
    campaign : Campaign
        Whose rodes and boat speak for what a row leaves blank.
    rows : DataFrame, index trial
        Rows of its trials.

    Returns
    -------
    DataFrame, index trial
        ``depth_m``, ``bow_m``, ``length_m``, ``chain_length_m`` [m] and ``chain_kg_per_m`` [kg/m], NaN where
        not given; ``known``: whether they are enough to tell how the rode led.

    Notes
    -----
    A chain of no length or no weight is no chain, and needs nothing more.  Chain whose length is not given
    is taken to reach all the way.
    """
    depth = rows["depth_m"]
    bow = rows["bow_height_m"].fillna(campaign.boat.get("bow_height_m", 0.0))
    length = rows["rode_length_m"].fillna(rows["scope"] * (depth + bow))
    weight, reach = (_chain(campaign, rows, column) for column in ("chain_kg_per_m", "chain_length_m"))
    no_chain = (weight == 0.0) | (reach == 0.0)
    reach = reach.mask(no_chain, 0.0).mask(reach.isna() & weight.notna() & ~no_chain, np.inf)
    whole = depth.notna() & length.notna() & (weight.notna() | no_chain)
    return pd.DataFrame(
        {
            "depth_m": depth,
            "bow_m": bow,
            "length_m": length,
            "chain_kg_per_m": weight,
            "chain_length_m": reach,
            "known": whole,
        }
    )


def _chain(campaign: Campaign, rows: pd.DataFrame, column: str) -> pd.Series:
    """Return what a row says of its chain, else what the rode it names does."""
    rodes = campaign.rodes
    named = rows["rode"].map(rodes[column]) if len(rodes) else pd.Series(np.nan, index=rows.index)
    return rows[column].fillna(named).astype(float)

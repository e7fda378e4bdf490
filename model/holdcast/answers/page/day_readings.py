"""What the day's pulls are expected to read, on the rode that the log's pulls were mostly made on."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.draws.draws import Draws
from holdcast.answers.draws.rode import ALONG_THE_BOTTOM, Geometry, boat_bow_height_m, geometry_of, rode_table
from holdcast.answers.draws.setting import setting_shares
from holdcast.answers.readings.expected import PulledFrom, expected_readings
from holdcast.answers.readings.reset_counts import reset_groups
from holdcast.answers.readings.turned import turned_readings
from holdcast.capacity import Fit

__all__ = ["UsualRode", "day_readings", "usual_rode"]

_CHAIN = ["rode", "chain_kg_per_m", "chain_length_m"]

_READ_OF_A_PULL = [*_CHAIN, "seabed", "date", "load_at", "scope", "rode_length_m", "depth_m", "bow_height_m"]


@dataclass(frozen=True)
class UsualRode:
    """How the log's pulls were mostly made, and how the day's are taken to be.

    Attributes
    ----------
    rode : name in rodes.csv; blank: not named.
    chain_kg_per_m, chain_length_m : of a chain without a name [kg/m, m]; NaN when not given.
    scope : rode length over depth plus bow height [1]; NaN: not known, so pulled along the bottom.
    load_at : where the load is read, ``bow`` or ``anchor``.
    depth_m : depth of the pulls in each seabed [m], index seabed; NaN where no pull has one.
    """

    rode: str
    chain_kg_per_m: float
    chain_length_m: float
    scope: float
    load_at: str
    depth_m: pd.Series


def usual_rode(draws: Draws) -> UsualRode:
    """Return how most of the log's used pulls were made; of equally many, the newest.

    Parameters
    ----------
    draws : Draws
    """
    # A log without such a column says nothing of it.
    words = {"rode": "", "load_at": "bow", "date": ""}
    pulls = draws.used_pulls.reindex(columns=_READ_OF_A_PULL)
    pulls = pulls.astype(dict.fromkeys(words, object)).fillna(words)
    pulls = pulls.sort_values("date", kind="stable")
    height = pulls["depth_m"] + pulls["bow_height_m"].fillna(boat_bow_height_m(draws.fit))
    scopes = pulls["scope"].fillna(pulls["rode_length_m"] / height)
    rigs = pulls[[*_CHAIN, "load_at"]].assign(scope=[float(f"{scope:.3g}") for scope in scopes])
    # Blank is a kind of rig too.
    counts = rigs.groupby(list(rigs.columns), dropna=False)["load_at"].transform("size")
    rig = rigs[counts == counts.max()].iloc[-1]
    return UsualRode(
        str(rig["rode"]),
        float(rig["chain_kg_per_m"]),
        float(rig["chain_length_m"]),
        float(rig["scope"]),
        str(rig["load_at"]),
        pulls.groupby("seabed")["depth_m"].median(),
    )


def day_readings(draws: Draws, usual: UsualRode) -> xr.Dataset:
    """Return what one reading of every anchor in every seabed is expected to be, on that rode.

    In a seabed without a depth the rode hangs as in the middle one of the others.

    Parameters
    ----------
    draws : Draws
    usual : UsualRode

    Returns
    -------
    Dataset, dims (anchor, seabed, level)
        As from :func:`holdcast.answers.readings.expected.expected_readings`; and where the log tells of
        them ``resets`` [1], chance that it digs in again after a reversal of 180 degrees, with its groups of
        draws (:func:`holdcast.answers.readings.reset_counts.reset_groups`), and ``veer_kept``
        [1], the middle of the share of a straight pull's capacity that a turn of 180 degrees leaves, with
        the readings after a turn (:func:`holdcast.answers.readings.turned.turned_readings`).
    """
    seabeds = draws.labels("seabed")
    load_at: Literal["bow", "anchor"] = "anchor" if usual.load_at == "anchor" else "bow"
    pulled = [PulledFrom(_geometry(draws.fit, usual, seabed), load_at) for seabed in seabeds]
    expected = expected_readings(draws, pulled=pulled)
    shares = setting_shares(draws)
    if "resets" in shares:
        expected["resets"] = shares["resets"].mean("sample")
        expected = expected.merge(reset_groups(draws), combine_attrs="override")
    if "veer_kept" in shares:
        expected["veer_kept"] = shares["veer_kept"].median("sample")
        turns = turned_readings(draws, seabeds, pulled)
        expected = expected.merge(turns, combine_attrs="override")
    return expected


def _geometry(fit: Fit, usual: UsualRode, seabed: str) -> Geometry:
    if np.isnan(usual.scope):
        return ALONG_THE_BOTTOM
    depth = float(usual.depth_m.get(seabed, np.nan))
    row = pd.Series(
        {
            "rode": usual.rode,
            "chain_kg_per_m": usual.chain_kg_per_m,
            "chain_length_m": usual.chain_length_m,
            "scope": usual.scope,
            "depth_m": float(usual.depth_m.median()) if np.isnan(depth) else depth,
            "bow_height_m": np.nan,
        }
    )
    return geometry_of(row, rode_table(fit), boat_bow_height_m(fit))

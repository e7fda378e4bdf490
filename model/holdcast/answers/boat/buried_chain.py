"""How much of a typical load in soft ground the chain that cut into it would take, by how deep it lies."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.classtest.classtest import bottom_of_seabeds
from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.draws.rode import rode_table
from holdcast.capacity import Fit
from holdcast.physics.errors import PhysicsError
from holdcast.physics.ground.strength_index import REFERENCE_STRENGTH_KPA
from holdcast.physics.rode.buried_chain import bearing_integral_n, share_taken_by_chain
from holdcast.physics.units import MILLIMETRES_PER_INCH

__all__ = ["DEPTHS_M", "buried_chain"]

DEPTHS_M = (0.2, 0.5)
"""How deep the chain's end may lie [m]: a small anchor just under, and well in (a choice; nobody measures
it)."""


def buried_chain(fit: Fit) -> xr.Dataset:
    """Return the share of a typical load that chain in the mud would take, for two depths of its end.

    Returns
    -------
    Dataset, dims (seabed, depth)
        ``share`` [1], NaN where such a load could not pull the chain that deep; ``strength_kpa`` and
        ``chain_mm`` (seabed).  Only soft seabeds (below 40 kPa) where pulls were made on chain of a known
        size; the size is that of most pulls.

    Notes
    -----
    The load is the median of what the used pulls held or let go at; the seabed's strength is taken to be the
    same all the way down: too much where the bed stiffens towards the depth at which it was found, too little
    where it was found near the surface.  Friction along the chain is at the low end of what is known, 0.4; at
    0.6 the share 1 - exp(-μ θ) is at most half as large again (an identity).
    """
    draws = draws_of(fit)
    rows = [row for label in _soft(draws) if (row := _typical_pull(draws, rode_table(fit), label))]
    shares = [
        [_share(load, chain, strength, depth) for depth in DEPTHS_M] for _, load, chain, strength in rows
    ]
    return xr.Dataset(
        {
            "share": (
                ("seabed", "depth"),
                np.array(shares, dtype=float).reshape(len(rows), len(DEPTHS_M)),
                {"units": "1", "long_name": "share of the load that buried chain takes"},
            ),
            "strength_kpa": (
                "seabed",
                np.array([row[3] for row in rows], dtype=float),
                {"units": "kPa", "long_name": "undrained strength"},
            ),
            "chain_mm": (
                "seabed",
                np.array([row[2] for row in rows], dtype=float),
                {"units": "mm", "long_name": "bar diameter of the chain"},
            ),
        },
        coords={"seabed": np.array([row[0] for row in rows], dtype=str), "depth": list(DEPTHS_M)},
    )


def _soft(draws: Draws) -> list[str]:
    bottoms = bottom_of_seabeds(draws)
    return [label for label, bottom in zip(draws.labels("seabed"), bottoms, strict=True) if bottom == "soft"]


def _typical_pull(draws: Draws, rodes: pd.DataFrame, label: str) -> tuple[str, float, float, float] | None:
    """Return seabed, load [N], chain [mm] and strength [kPa] of a typical pull; None without chain."""
    sizes = _chain_mm(rodes)
    pulls = draws.used_pulls[draws.used_pulls["seabed"] == label]
    chain = pulls["rode"].map(sizes).dropna()
    if chain.empty:
        return None
    load = pulls["released_n"].where(np.isfinite(pulls["released_n"]), pulls["held_n"])
    strength = REFERENCE_STRENGTH_KPA * float(np.exp(draws.inputs["strength_index"].sel(seabed=label)))
    return label, float(load.loc[chain.index].median()), float(chain.mode().iloc[0]), strength


def _chain_mm(rodes: pd.DataFrame) -> pd.Series:
    """Return the chain's bar diameter of each rode [mm], NaN when its size was not given."""
    sizes = pd.Series(np.nan, index=rodes.index)
    for column, factor in (("chain_mm", 1.0), ("chain_in", MILLIMETRES_PER_INCH)):
        if column in rodes:
            sizes = sizes.fillna(rodes[column].astype(float) * factor)
    return sizes


def _share(load_n: float, chain_mm: float, strength_kpa: float, depth_m: float) -> float:
    integral = bearing_integral_n(depth_m, chain_mm / 1000.0, 0.0, strength_kpa)
    try:
        return share_taken_by_chain(load_n, integral)
    except PhysicsError:  # so small a load never pulls the chain so deep
        return float("nan")

"""What chain in the mud may hold of a load, in sentences."""

import xarray as xr

from holdcast.physics.buried_chain import NEGLIGIBLE_SHARE
from holdcast.show.numbers import format_share

__all__ = ["buried_chain_sentences"]


def buried_chain_sentences(chain: xr.Dataset) -> list[str]:
    """Say for each soft seabed what part of a load the chain in the mud may take; none where it is small.

    Parameters
    ----------
    chain : Dataset, dims (seabed, depth)
        As from ``holdcast.answers.buried_chain``.
    """
    told = []
    for seabed in chain["seabed"].to_numpy():
        here = chain.sel(seabed=seabed)
        shares = here["share"].to_series().dropna()
        if shares.max() < NEGLIGIBLE_SHARE or not len(shares):
            continue
        parts = [f"{format_share(share)} with its end {depth:g} m deep" for depth, share in shares.items()]
        deepest = "" if len(shares) == here.sizes["depth"] else " (no deeper under such a load)"
        told.append(
            f"In {seabed} (about {float(here['strength_kpa']):.2g} kPa) chain that cuts into the ground "
            f"holds part of the load: of a typical pull there, {float(here['chain_mm']):.3g} mm chain at "
            f"most about {', '.join(parts)}{deepest}. Nothing was taken off for it, as its depth is not "
            "known."
        )
    return told

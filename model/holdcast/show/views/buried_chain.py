"""What chain in the mud may hold of a load, in sentences."""

from functools import partial

import xarray as xr

from holdcast.physics.rode.buried_chain import NEGLIGIBLE_SHARE
from holdcast.plain_numbers import significant
from holdcast.show.text.numbers import format_share, on_screen

__all__ = ["buried_chain_sentences"]


def buried_chain_sentences(chain: xr.Dataset, units: str = "si") -> list[str]:
    """Say for each soft seabed what part of a load the chain in the mud may take; none where it is small.

    Parameters
    ----------
    chain : Dataset, dims (seabed, depth)
        As from ``holdcast.answers.boat.buried_chain``.
    units : {"si", "us"}
    """
    strength, length, bar = (partial(_measured, unit=unit, units=units) for unit in ("kPa", "m", "mm"))
    sentences = []
    for seabed in chain["seabed"].to_numpy():
        here = chain.sel(seabed=seabed)
        shares = here["share"].to_series().dropna()
        if shares.max() < NEGLIGIBLE_SHARE or not len(shares):
            continue
        parts = [
            f"{format_share(share)} with its end {length(float(str(depth)))} deep"
            for depth, share in shares.items()
        ]
        deepest = "" if len(shares) == here.sizes["depth"] else " (no deeper under such a load)"
        sentences.append(
            f"In {seabed} (about {strength(float(here['strength_kpa']))}) chain that cuts into the ground "
            f"holds part of the load: of a typical pull there, {bar(float(here['chain_mm']), digits=3)} "
            f"chain about {', '.join(parts)}{deepest}, or up to half as much again. Nothing was taken off "
            "for it, as its depth is not known."
        )
    return sentences


def _measured(value: float, *, unit: str, units: str, digits: int = 2) -> str:
    unit_text, size = on_screen(unit, units)
    return f"{significant(value / size, digits)} {unit_text}"

"""Marks that go with a fit wherever it is shown; importable without the sampler's libraries."""

from typing import Final

__all__ = ["APPROXIMATE", "BAND_ENDS_OFF"]

APPROXIMATE: Final = "APPROXIMATE"
"""The mark on everything that comes from a quick fit."""
BAND_ENDS_OFF: Final = (0.0240, 0.17)
"""How far the ends of 90% bands of a quick fit lay from a full fit's on the invented demo, in widths of the
band: mean and largest over all cells and five seeds (docs/quick.md)."""

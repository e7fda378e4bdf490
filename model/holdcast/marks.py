"""Marks that go with a fit wherever it is shown; importable without the sampler's libraries."""

from typing import Final

__all__ = ["APPROXIMATE"]

APPROXIMATE: Final = "APPROXIMATE"
"""The mark on everything that comes from a quick fit."""

"""Holding capacity of small-craft anchors from logged pulls, with bands."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from holdcast.campaign import read_campaign
    from holdcast.capacity import fit, load

__all__ = ["fit", "load", "read_campaign"]


def __getattr__(name: str) -> object:
    # Loaded on first use, so that the command line answers quickly.
    if name == "read_campaign":
        from holdcast.campaign import read_campaign

        return read_campaign
    if name in ("fit", "load"):
        import holdcast.capacity

        return getattr(holdcast.capacity, name)
    raise AttributeError(f"module 'holdcast' has no attribute {name!r}")

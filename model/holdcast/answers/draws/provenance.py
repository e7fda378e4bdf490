"""What every answer says of itself: units and names of its numbers, and where they come from."""

from holdcast.capacity import Fit

__all__ = ["about", "provenance"]

_ABOUT = ("title", "author", "licence", "version", "newest_trial", "input_hash")


def about(units: str, name: str) -> dict[str, str]:
    """Return the attributes of a variable: its units and what it is."""
    return {"units": units, "long_name": name}


def provenance(fit: Fit, seed: int) -> dict[str, object]:
    """Return the attributes of an answer: of which log and program it is, and the seed of its draws."""
    return {**{name: fit.tree.attrs[name] for name in _ABOUT}, "seed": seed}

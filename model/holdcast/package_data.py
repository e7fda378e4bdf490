"""Where the files that travel with the package lie: the demo campaign and the published tables."""

from importlib.resources import files
from pathlib import Path

__all__ = ["path"]


def path(name: str) -> Path:
    """Return the path of a file or folder that travels with the package.

    Parameters
    ----------
    name : str
        Name below the data folder, such as ``"tables/chain.csv"``.

    Raises
    ------
    FileNotFoundError
        When neither the installed package nor the checkout holds it.
    """
    package = Path(str(files("holdcast")))
    # A wheel carries the data inside the package; a checkout keeps it beside the model folder.
    candidates = (package / "_data" / name, package.parent.parent / "data" / name)
    for candidate in candidates:
        if candidate.exists():
            return candidate
    raise FileNotFoundError(f"the package data {name!r} is missing; reinstall holdcast")

"""``holdcast demo``: the whole main job on the invented campaign that travels with the program."""

import shutil
from pathlib import Path
from typing import Annotated

import typer

from holdcast.commands.fit import Seed, fit_campaign
from holdcast.commands.shared.common import AsJson, InputError, Units, progress
from holdcast.package_data import path

__all__ = ["demo"]


def demo(
    folder: Annotated[Path, typer.Argument(help="Where the demo goes.")] = Path("demo-campaign"),
    seed: Seed = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Write the demo campaign, run the whole main job on it, and print the cell table.

    The campaign is invented: no anchor, place or reading in it exists.

    Example: holdcast demo
    """
    source = path("demo")
    names = sorted(file.name for file in source.iterdir() if file.is_file())
    if folder.exists() and (not folder.is_dir() or _foreign(folder, names)):
        raise InputError(f"{folder} already holds something other than the demo; name another folder")
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        shutil.copyfile(source / name, folder / name)
    progress(f"wrote the invented demo campaign to {folder}")
    fit_campaign(folder, folder / "results", seed, units, as_json=as_json)


def _foreign(folder: Path, names: list[str]) -> list[str]:
    """Return files in a folder that the demo did not write, or that were changed since."""
    own = {*names, "results", "results-unreliable", "results-quick", "results-draws"}
    source = path("demo")
    return [
        entry.name
        for entry in folder.iterdir()
        if (entry.name not in own and not entry.name.startswith(".results-"))
        or (entry.name in names and entry.read_bytes() != (source / entry.name).read_bytes())
    ]

"""``holdcast new``: an empty campaign to fill in."""

from pathlib import Path
from shlex import quote
from typing import Annotated

import typer

from holdcast.campaign import write_starter
from holdcast.commands.shared.common import AsJson, Units, say, say_json

__all__ = ["new"]


def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make or fill.", show_default=False)],
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Write an empty campaign: headers, an example row to delete, and a guide that begins with safety.

    Nothing is overwritten: a folder that already has one of the files is refused.

    Example: holdcast new my-campaign
    """
    written = write_starter(folder)
    if as_json:
        say_json({"written": [str(path) for path in written]})
        return
    for path in written:
        say(str(path))
    say(f"\nRead {folder / 'GUIDE.md'} first: a rode under load can maim.")
    say(f"Fill the tables in, delete the example rows, then: holdcast check {quote(str(folder))}")

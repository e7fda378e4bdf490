"""``datapackage.json`` of a results folder, kept in step with the tables that lie there."""

import csv
from pathlib import Path

from holdcast.commands.folders.results import write_whole

__all__ = ["describe_new_tables"]


def describe_new_tables(folder: Path) -> None:
    """Tell of tables that a command has written since; leave all as it is where something cannot be read.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    from holdcast.show.package.data_package import PACKAGE_FILE, with_new_tables

    path = folder / PACKAGE_FILE
    try:
        content = path.read_text(encoding="utf-8")
        text = with_new_tables(content, folder)
    except (FileNotFoundError, ValueError, RecursionError, csv.Error):
        return
    if text != content:
        write_whole(path, text)

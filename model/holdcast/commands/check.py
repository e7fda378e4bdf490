"""``holdcast check``: every fault and doubt, without fitting."""

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from shlex import quote
from typing import Annotated

import typer

from holdcast.campaign.columns.carried_columns import carried_columns, unread_columns
from holdcast.campaign.records import Campaign, CampaignError
from holdcast.commands.folders.leftovers import tidied
from holdcast.commands.folders.results import quick_folder
from holdcast.commands.shared.answering import PictureSizes, say_written
from holdcast.commands.shared.checked_campaign import (
    accounting_line,
    carried_lines,
    read_checked,
    results_folder,
)
from holdcast.commands.shared.common import AsJson, InputError, Units, progress, say, say_json
from holdcast.show.figures.sheet import PictureSize
from holdcast.show.text.findings_table import findings_table
from holdcast.show.text.pull_grid import pull_counts, pull_grid_lines
from holdcast.show.text.text_columns import terminal_width, wrap

__all__ = ["check"]


def check(
    campaign: Annotated[
        Path, typer.Argument(help="Campaign: a folder, or a workbook (.xlsx).", show_default=False)
    ],
    picture: Annotated[
        Path | None,
        typer.Option(help="Also draw the pulls of each anchor in each seabed into this file (.svg or .png)."),
    ] = None,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Show every fault and doubt of a campaign in one table, without fitting it.

    Faults stop a fit (exit status 2); doubts alone do not (exit status 0).  What a killed fit left beside the
    results is cleaned up.

    Example: holdcast check my-campaign --picture pulls.png --picture-size wide
    """
    if picture_size and picture is None:
        raise InputError("--picture-size goes with --picture FILE, which names the picture")
    results = results_folder(campaign)
    for line in (*tidied(results), *tidied(quick_folder(results))):
        progress(line)
    try:
        read = read_checked(campaign)
    except CampaignError as error:
        if as_json:
            say_json({"ok": False, "findings": [asdict(finding) for finding in error.findings]})
        raise
    line, carried = accounting_line(read), carried_columns(read)
    if picture is not None:
        _draw(read, picture, picture_size or ())
    if as_json:
        findings = [asdict(finding) for finding in read.doubts]
        columns = {"carried": carried, "not_used": unread_columns(read)}
        say_json({"ok": True, "rows": line, **columns, "findings": findings})
        return
    say(findings_table(read.doubts) if read.doubts else "No faults, no doubts.")
    say("\n".join(["", *pull_grid_lines(pull_counts(read.anchors, read.seabeds, read.trials))]))
    width = terminal_width()
    lines = [part for text in (line, *carried_lines(read)) for part in wrap(text, width)]
    say("\n".join(["", *lines, f"No fault: holdcast fit {quote(str(campaign))} can run."]))


def _draw(read: Campaign, path: Path, sizes: Sequence[PictureSize]) -> None:
    """Draw the grid of pulls into a file.

    Raises
    ------
    InputError
        When the file is neither SVG nor PNG, or its folder is missing.
    """
    if path.suffix.lower() not in (".svg", ".png"):
        raise InputError(f"--picture {path}: name a file that ends in .svg or .png")
    if not path.parent.is_dir():
        raise InputError(f"--picture {path}: there is no folder {path.parent}; make it, or name another file")
    from holdcast.show.figures.pull_grid import save_pull_grid

    counts = pull_counts(read.anchors, read.seabeds, read.trials)
    say_written(save_pull_grid(counts, path, str(read.title or ""), sizes))

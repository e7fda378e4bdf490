"""``holdcast report``: the page of a results folder, written anew."""

from pathlib import Path
from typing import Annotated

import typer

from holdcast.commands.shared.answering import PictureSizes, say_reading, say_written, shown_units
from holdcast.commands.shared.common import AsJson, Units, say, say_json

__all__ = ["report"]


def report(
    results: Annotated[Path, typer.Argument(help="Results folder.", show_default=False)],
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Write the page of a fit again, in other units if asked: tables, figure, verdict, exclusions, cautions.

    With --picture-size also the pictures of capacity, setting again and all-rounders.

    Example: holdcast report my-campaign/results --units us --picture-size wide
    """
    say_reading(results)
    from holdcast.answers.cells.cells import cells
    from holdcast.capacity.store import load
    from holdcast.commands.published.pictures import save_pictures_in_sizes
    from holdcast.commands.published.publishing import write_page

    fitted = load(results)
    table, shown = cells(fitted), shown_units(fitted, units)
    page = write_page(fitted, table, results, shown)
    if picture_size:
        say_written(save_pictures_in_sizes(fitted, table, results / "figures", shown, picture_size))
    if as_json:
        say_json({"page": str(page), "ok": fitted.verdict.ok, "approximate": fitted.verdict.approximate})
    else:
        say(str(page))

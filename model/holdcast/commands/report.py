"""``holdcast report``: the page of a results folder, written anew."""

from pathlib import Path
from typing import Annotated

import typer

from holdcast.commands.shared.answering import say_reading
from holdcast.commands.shared.common import AsJson, Units, say, say_json

__all__ = ["report"]


def report(
    results: Annotated[Path, typer.Argument(help="Results folder.", show_default=False)],
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Write the page of a fit again, in other units if asked: tables, figure, verdict, exclusions, cautions.

    Example: holdcast report my-campaign/results --units us
    """
    say_reading(results)
    from holdcast.answers.cells.cells import cells
    from holdcast.capacity.store import load
    from holdcast.commands.published.publishing import write_page

    fitted = load(results)
    page = write_page(fitted, cells(fitted), results, units or str(fitted.tree.attrs["units"]))
    if as_json:
        say_json({"page": str(page), "ok": fitted.verdict.ok, "approximate": fitted.verdict.approximate})
    else:
        say(str(page))

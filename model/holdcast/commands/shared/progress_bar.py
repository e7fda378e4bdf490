"""One line that moves while a fit samples, for a person who looks on; plain lines for everybody else."""

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from holdcast.commands.shared.common import Progress, progress, stop_if_asked
from holdcast.show.text.text_columns import plain

__all__ = ["watched"]

_SHARE_DONE = re.compile(r"sampling: (\d+)% ?(.*)")


@contextmanager
def watched(tell: Progress = progress) -> Iterator[Progress]:
    """Give a function that takes lines about what is being done.

    On a terminal, lines such as "sampling: 40% of 4 chains" move one bar with the time left; all others are
    printed above it.  Elsewhere every line is told as it comes.

    Parameters
    ----------
    tell : callable
        Takes the lines where nobody looks on.
    """
    if not sys.stderr.isatty():
        yield tell
        return
    from rich.console import Console
    from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("  {task.description}", markup=False), BarColumn(24), TaskProgressColumn())
    time_left = (TimeRemainingColumn(), TextColumn("left"))
    console = Console(stderr=True, markup=False, highlight=False)
    with Bar(*columns, *time_left, console=console, transient=True) as bar:
        task = bar.add_task("sampling", total=100, visible=False)

        def show(line: str) -> None:
            stop_if_asked()
            share = _SHARE_DONE.fullmatch(line)
            if share:
                bar.update(task, completed=int(share[1]), description="sampling", visible=True, refresh=True)
                return
            if line.startswith("sampling"):  # a new attempt
                bar.reset(task, visible=False)
            elif bar.tasks[task].visible:
                bar.update(task, visible=False)
            console.print(f"  {plain(line)}", soft_wrap=True)

        yield show

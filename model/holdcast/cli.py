"""The command line: one short file a command, in :mod:`holdcast.commands`."""

import os
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import Annotated

import typer

from holdcast.commands.shared.common import (
    BAD_INPUT,
    DONE,
    INTERRUPTED,
    finish_output,
    interruptible,
    prepare_output,
    run,
    say,
    warn,
)

__all__ = ["COMMANDS", "main"]

COMMANDS = {
    "demo": "Run the whole main job on an invented campaign.",
    "new": "Write an empty campaign to fill in.",
    "check": "Show every fault and doubt of a campaign, without fitting.",
    "fit": "Fit a campaign: every anchor in every seabed, with bands.",
    "predict": "Capacity of any anchor, size, seabed and scope asked for.",
    "sizes": "Capacity against mass, and the mass that holds a load.",
    "features": "What each design feature does, seabed by seabed, and how it is known.",
    "rank": "What can be told apart, and the chance of being best.",
    "boat": "The chance that one new pull exceeds the load of a boat in a wind.",
    "classtest": "The chance of two or four times the stockless reference.",
    "add": "New trials without a refit: what they change, and which to repeat.",
    "explain": "Where the band of one cell comes from.",
    "plan": "Which tests next, and what each is expected to narrow.",
    "compare": "What changed between two fits, and near which trials.",
    "criticise": "What the model misses of the log's own pulls.",
    "evaluate": "How good the bands are on what was hidden.",
    "report": "Write the page of a fit again.",
}
"""Commands in the order a tester meets them, with their one line of help."""

_COMPLETING = "_HOLDCAST_COMPLETE"
"""Set by a shell that asks for what may follow (the option library's own name for it)."""

_ABOUT = """What a small-craft anchor holds, from logged test pulls, with bands that say how sure that is.

A capacity is a typical test pull in one place: no guarantee, no safety factor. A rode under load can maim.
"""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with the exit status of the contract.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after the program's name; those of the process by default.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    status = DONE
    prepare_output()
    _set_compilers()

    def command() -> None:
        nonlocal status
        status = _invoke(words)
        finish_output()

    with interruptible():
        failure = run(command)
    sys.exit(failure or status)


def _set_compilers() -> None:
    """Set what the compiler and the library of graphs read when they are loaded, where the user has not."""
    # A first fit compiles a seventh faster, for 4% slower sampling.
    os.environ.setdefault("NUMBA_OPT", "1")
    # Noting for each node of a graph which line made it takes a third of the time of building.
    flags = os.environ.get("PYTENSOR_FLAGS", "")
    if "traceback__limit" not in flags:
        os.environ["PYTENSOR_FLAGS"] = ",".join(filter(None, (flags, "traceback__limit=0")))


def _invoke(words: list[str]) -> int:
    application = _application(_named_command(words))
    try:
        code = application(words or ["--help"], prog_name="holdcast", standalone_mode=False)
    except typer.Abort:
        code = INTERRUPTED
    except Exception as error:
        # Wrong options and arguments know how to show themselves; all else is for `run`.
        if not hasattr(error, "format_message"):
            raise
        message = error.format_message().replace(": Value error, ", ": ")
        warn(f"holdcast: {message}\nTry: holdcast --help, or holdcast COMMAND --help")
        return BAD_INPUT
    if code == INTERRUPTED:  # the library of options turns Ctrl-C into a bare number
        raise KeyboardInterrupt
    return code if isinstance(code, int) else DONE


def _named_command(words: list[str]) -> str:
    """Return the command that is run, or whose options a shell wants to complete."""
    if _COMPLETING in os.environ:
        typed = os.environ.get("_TYPER_COMPLETE_ARGS") or os.environ.get("COMP_WORDS", "")
        words = typed.split()[1:]
    return words[0] if words else ""


def _application(named: str) -> typer.Typer:
    """Return the program with the named command loaded and the others as names: help comes at once."""
    application = typer.Typer(
        help=_ABOUT,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    application.callback()(_program)
    for name, line in COMMANDS.items():
        function = getattr(import_module(f"holdcast.commands.{name}"), name) if name == named else _stub(line)
        application.command(name=name, short_help=line)(function)
    return application


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version as version_of

        say(f"holdcast {version_of('holdcast')}")
        raise typer.Exit


def _program(
    _version: Annotated[
        bool,
        typer.Option("--version", help="Print the version and leave.", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    pass


def _stub(line: str) -> Callable[[], None]:
    def stand_in() -> None:
        raise AssertionError("a stand-in was called")

    stand_in.__doc__ = line
    return stand_in

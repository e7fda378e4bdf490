"""What all commands share: exit statuses, options, and where words go."""

import errno
import json
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated, Literal

import typer

from holdcast.campaign.records import CampaignError, Finding
from holdcast.show.findings import findings_table

__all__ = [
    "BAD_INPUT",
    "BAD_VERDICT",
    "DONE",
    "INTERRUPTED",
    "MACHINE_FAULT",
    "PROGRAM_FAULT",
    "AsJson",
    "InputError",
    "Progress",
    "Units",
    "progress",
    "run",
    "say",
    "say_json",
    "show_findings",
    "warn",
]

DONE, BAD_INPUT, PROGRAM_FAULT, BAD_VERDICT, MACHINE_FAULT, INTERRUPTED = 0, 2, 3, 4, 5, 130
"""Exit statuses, fixed so that scripts can rely on them."""

_MACHINE_ERRORS = {errno.ENOSPC, errno.EACCES, errno.EPERM, errno.EROFS, errno.EDQUOT, errno.EBUSY, errno.EIO}

Units = Annotated[
    Literal["si", "us"] | None, typer.Option("--units", help="Units on the screen only; files stay in SI.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the answer as JSON, for machines.")]


Progress = Callable[[str], None]
"""Takes one line that says what is being done."""


class InputError(Exception):
    """A wrong argument or file that is no campaign table; the message says what is wrong and what to do."""


def say(text: str) -> None:
    """Print an answer on standard output."""
    sys.stdout.write(text.rstrip("\n") + "\n")


def say_json(value: object) -> None:
    """Print an answer on standard output as JSON (no NaN: those become null before)."""
    say(json.dumps(value, indent=2, allow_nan=False, ensure_ascii=False))


def warn(text: str) -> None:
    """Print a warning on standard error."""
    sys.stderr.write(text.rstrip("\n") + "\n")
    sys.stderr.flush()


def progress(line: str) -> None:
    """Tell on standard error what is being done."""
    warn(f"  {line}")


def show_findings(findings: Sequence[Finding]) -> None:
    """Print faults and doubts as one table on standard error."""
    if findings:
        warn(findings_table(findings))


def run(command: Callable[[], None]) -> int:
    """Run a command and return its exit status, every failure told in words.

    Bad input never gives a traceback; a fault of the program does, since it is for us to read.
    """
    from holdcast.physics.errors import PhysicsError

    try:
        command()
    except CampaignError as error:
        show_findings(error.findings)
        return BAD_INPUT
    except (InputError, PhysicsError) as error:
        warn(f"holdcast: {error}")
        return BAD_INPUT
    except KeyboardInterrupt:
        warn("holdcast: stopped on request; earlier results stand as they were")
        return INTERRUPTED
    except OSError as error:
        return _machine_or_path(error)
    except Exception as error:
        # Loaded late, since reading results brings libraries that `check` does not need.
        if type(error).__name__ == "ResultsError":
            warn(f"holdcast: {error}")
            return BAD_INPUT
        warn(traceback.format_exc())
        warn("holdcast: a fault of the program, not of your files; please report it with the lines above")
        return PROGRAM_FAULT
    return DONE


def _machine_or_path(error: OSError) -> int:
    where = f" ({Path(str(error.filename))})" if error.filename else ""
    if error.errno in _MACHINE_ERRORS:
        warn(f"holdcast: the machine says: {error.strerror}{where}; nothing was changed")
        return MACHINE_FAULT
    warn(f"holdcast: {error.strerror or error}{where}")
    return BAD_INPUT

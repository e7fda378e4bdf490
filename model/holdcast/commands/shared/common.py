"""What all commands share: exit statuses, options, and where words go."""

import errno
import json
import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Literal, TextIO

import typer

from holdcast.commands.shared.plain_signs import PLAIN_SIGNS
from holdcast.findings import CampaignError, Finding
from holdcast.show.text.findings_table import findings_table
from holdcast.show.text.text_columns import plain, terminal_width, wrap

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
    "finish_output",
    "interruptible",
    "prepare_output",
    "progress",
    "run",
    "say",
    "say_json",
    "show_findings",
    "stop_if_asked",
    "tell_text",
    "warn",
]

DONE, BAD_INPUT, PROGRAM_FAULT, BAD_VERDICT, MACHINE_FAULT, INTERRUPTED = 0, 2, 3, 4, 5, 130
"""Exit statuses, fixed so that scripts can rely on them."""

_LONGEST_REASON = 120
_MACHINE_ERRORS = {errno.ENOSPC, errno.EACCES, errno.EPERM, errno.EROFS, errno.EDQUOT, errno.EBUSY, errno.EIO}

Units = Annotated[
    Literal["si", "us"] | None, typer.Option("--units", help="Units on the screen only; files stay in SI.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the answer as JSON, for machines.")]


Progress = Callable[[str], None]
"""Takes one line that says what is being done."""


class InputError(Exception):
    """A wrong argument or file that is no campaign table; the message says what is wrong and what to do."""


def prepare_output() -> None:
    """Let a sign that the terminal's encoding lacks be written plainly rather than stop the program.

    What was closed before the program began (``>&-``) takes words and drops them; its number must be taken,
    or the next file opened would get it, and with it what a library prints.
    """
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # the lowest number that is free
    sys.stdout, sys.stderr = sys.stdout or _nowhere(), sys.stderr or _nowhere()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=PLAIN_SIGNS)


def _nowhere() -> TextIO:
    return os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", encoding="utf-8")


@contextmanager
def interruptible() -> Iterator[None]:
    """Let a polite request to end (SIGTERM, a closed terminal) clean up as Ctrl-C does."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        names.append("SIGINT")
    stop = _Stop()
    before = {name: signal.signal(getattr(signal, name), stop) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


class _Stop:
    """Takes requests to end.  It remembers them, since a library may swallow what it raises."""

    def __init__(self) -> None:
        self.asked = False

    def __call__(self, *_: object) -> None:
        self.asked = True
        raise KeyboardInterrupt


def stop_if_asked() -> None:
    """Stop when an earlier request was swallowed, as by a library's call back; never while cleaning up."""
    stop = signal.getsignal(signal.SIGTERM)
    main_thread = threading.current_thread() is threading.main_thread()
    if isinstance(stop, _Stop) and stop.asked and main_thread and sys.exception() is None:
        raise KeyboardInterrupt


def finish_output() -> None:
    """Send off what standard output still holds.

    Raises
    ------
    OSError
        When it cannot be written, as on a full disk; a reader that has gone (``| head``) is no failure.
    """
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _to_nowhere()
    except OSError:
        _to_nowhere()
        raise


def _to_nowhere() -> None:
    """Let standard output take and drop the rest, so that leaving the program does not fail once more."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def say(text: str) -> None:
    """Print an answer on standard output; names in it can neither hide nor steer the terminal."""
    try:
        sys.stdout.write(_visible(text))
    except BrokenPipeError:
        _to_nowhere()


def say_json(value: object) -> None:
    """Print an answer on standard output as JSON in ASCII (no NaN: those become null before)."""
    say(json.dumps(value, indent=2, allow_nan=False))


def warn(text: str) -> None:
    """Print a warning on standard error."""
    sys.stderr.write(_visible(text))
    sys.stderr.flush()


def _visible(text: str) -> str:
    return "\n".join(map(plain, text.rstrip("\n").split("\n"))) + "\n"


def progress(line: str) -> None:
    """Tell on standard error what is being done, unless the program was asked to end."""
    stop_if_asked()
    warn(f"  {line}")


def tell_text(text: str, tell: Callable[[str], None] = progress) -> None:
    """Tell a sentence or several, broken at the terminal's width; lines that name a file go whole."""
    for line in wrap(text, terminal_width() - 2):
        tell(line)


def show_findings(findings: Sequence[Finding], about: str = "") -> None:
    """Print faults and doubts as one table on standard error, under a line that says what they are about."""
    if findings:
        warn(f"\n{about}\n{findings_table(findings)}\n" if about else findings_table(findings))


def run(command: Callable[[], None]) -> int:
    """Run a command and return its exit status, every failure told in words.

    Bad input never gives a traceback; a fault of the program does, since it is for us to read.
    """
    from holdcast.physics.errors import PhysicsError

    try:
        command()
    except CampaignError as error:
        show_findings(error.findings)
        warn(f"\nholdcast: {_faults(error.findings)}; nothing was written. Mend it and run again")
        return BAD_INPUT
    except (InputError, PhysicsError) as error:
        warn(f"holdcast: {error}")
        return BAD_INPUT
    except KeyboardInterrupt:
        warn("holdcast: stopped on request; earlier results stand as they were")
        return INTERRUPTED
    except OSError as error:
        return _machine_or_path(error)
    except MemoryError:
        warn("holdcast: the machine has too little memory; earlier results stand as they were")
        return MACHINE_FAULT
    except Exception as error:
        # Loaded late, since reading results brings libraries that `check` does not need.
        if type(error).__name__ == "ResultsError":
            warn(f"holdcast: {error}")
            return BAD_INPUT
        warn(traceback.format_exc())
        warn("holdcast: a fault of the program, not of your files; please report it with the lines above")
        return PROGRAM_FAULT
    return DONE


def _faults(findings: Sequence[Finding]) -> str:
    number = sum(finding.severity == "fault" for finding in findings)
    return f"{number} fault{'' if number == 1 else 's'}"


def _machine_or_path(error: OSError) -> int:
    where = f" ({Path(str(error.filename))})" if error.filename else ""
    if error.errno in _MACHINE_ERRORS:
        # A file library may write its whole story here, line by line; the system's own words will do.
        words = error.strerror or ""
        reason = words if 0 < len(words) < _LONGEST_REASON else os.strerror(error.errno or 0)
        warn(f"holdcast: the machine says: {reason}{where}; earlier results stand as they were")
        return MACHINE_FAULT
    warn(f"holdcast: {error.strerror or error}{where}")
    return BAD_INPUT

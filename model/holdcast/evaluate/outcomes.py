"""Outcomes of refits on disk: one JSON line each, so that a long run can stop anywhere and go on later."""

import json
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

__all__ = [
    "OutcomesError",
    "append_outcome",
    "drop_outcomes",
    "early_file",
    "name_of",
    "read_outcomes",
]


class OutcomesError(Exception):
    """A file that does not hold outcomes; the message says which line and what to do."""


def read_outcomes(path: Path) -> list[dict[str, Any]]:
    """Return the outcomes kept in a file; none when there is no such file.

    A last line cut short by a run that was killed does not count.  Reading changes nothing.

    Raises
    ------
    OutcomesError
        When any other line is not a JSON object.
    """
    if not path.exists():
        return []
    lines = path.read_text(encoding="utf-8", errors="replace").split("\n")
    outcomes = []
    for number, line in enumerate(lines, start=1):
        outcome = _outcome(line)
        if outcome is not None:
            outcomes.append(outcome)
        elif number < len(lines) or not _may_be_cut_short(line):
            raise OutcomesError(
                f"{path}, line {number}, is not an outcome; name another file, or delete the line"
            )
    return outcomes


def _outcome(line: str) -> dict[str, Any] | None:
    try:
        outcome = json.loads(line)
    except ValueError:
        return None
    return outcome if isinstance(outcome, dict) else None


def _may_be_cut_short(last: str) -> bool:
    return last == "" or last.startswith("{")


def append_outcome(path: Path, outcome: Mapping[str, Any]) -> None:
    """Add one outcome to a file that :func:`read_outcomes` takes, on the disk when this returns.

    A last line cut short makes way for it.

    Raises
    ------
    ValueError
        When a number is not finite.
    OSError
        When the file cannot be written.
    """
    line = json.dumps(dict(outcome), allow_nan=False) + "\n"
    with path.open("a+b") as stream:
        stream.seek(0)
        content = stream.read()
        last = content.rpartition(b"\n")[2]
        if last and _outcome(last.decode("utf-8", errors="replace")) is None:
            stream.truncate(len(content) - len(last))
        elif last:
            line = "\n" + line
        stream.write(line.encode())  # at the end, wherever that is now
        stream.flush()
        os.fsync(stream.fileno())


def name_of(outcome: Mapping[str, Any]) -> tuple[str, str]:
    """Return what tells one refit of a campaign from another: the kind hidden, and which."""
    return outcome["hide"], outcome["label"]


def early_file(path: Path) -> Path:
    """Return where outcomes wait that arrived before their turn: beside their file."""
    return path.with_name(f"{path.stem}-early{path.suffix}")


def drop_outcomes(path: Path, unwanted: Callable[[Mapping[str, Any]], bool]) -> None:
    """Take outcomes out of a file, and the file away when nothing is left in it.

    Parameters
    ----------
    path : Path
        Need not exist.
    unwanted : callable
        Tells of each outcome whether it goes.
    """
    if not path.exists():
        return
    remaining = [outcome for outcome in read_outcomes(path) if not unwanted(outcome)]
    if not remaining:
        path.unlink()
        return
    beside = path.with_name(path.name + ".part")
    beside.write_text("".join(json.dumps(outcome) + "\n" for outcome in remaining), encoding="utf-8")
    beside.replace(path)

"""Results folders: written beside, swapped in whole; a fit that is killed leaves the last one standing."""

import os
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from holdcast.capacity.results.pair import VERDICT_FILE, approximate_in
from holdcast.commands.shared.common import InputError

__all__ = [
    "beside",
    "keep_full_fit",
    "part_files",
    "quick_folder",
    "restore_interrupted",
    "results_target",
    "swap_in",
    "unreliable_folder",
    "write_whole",
]

_WRITTEN = {
    VERDICT_FILE,
    *("posterior.nc", "cells.csv", "excluded.csv", "report.html", "figures"),
    *("features.csv", "ranking.csv", "sizes.csv", "boat.csv", "boat_lightest.csv", "sizes_load.csv"),
    *("residuals.csv", "criticism.csv", "pulls_to_check.csv", "added", "plan.csv", "day.html"),
    "datapackage.json",
}
"""What the commands write into a results folder; anything else in it is the user's own and is not removed."""
_LEFT_BY_SYSTEMS = (".", "Thumbs.db", "desktop.ini")
_LISTED = 5


def unreliable_folder(folder: Path) -> Path:
    """Return where results with a bad verdict go: beside the good ones."""
    return folder.with_name(f"{folder.name}-unreliable")


def quick_folder(folder: Path) -> Path:
    """Return where a quick fit goes: beside the full one."""
    return folder.with_name(f"{folder.name}-quick")


def keep_full_fit(folder: Path) -> None:
    """Refuse to put a quick fit in the place of a full one.

    Raises
    ------
    InputError
        When the folder holds a fit that is not a quick one.
    """
    if (folder / VERDICT_FILE).is_file() and not approximate_in(folder):
        raise InputError(f"{folder} holds a full fit, which a quick one would replace; name another --out")


def results_target(folder: Path) -> Path:
    """Return where results go, after checking before any work that they may be written there.

    Raises
    ------
    InputError
        When the folder or the one for unreliable results is a file, or holds what no fit wrote.
    OSError
        When the folder in which results are to lie cannot be made.
    """
    # A name such as "." has no neighbours, and a link must stay where it is while what it names is swapped.
    target = folder.resolve() if folder.is_symlink() or folder.name in ("", "..") else folder
    if target.resolve() == Path.cwd():
        raise InputError("--out names the folder you are in, which cannot be replaced; name one inside it")
    for place in (target, unreliable_folder(target)):
        _check_replaceable(place)
    target.parent.mkdir(parents=True, exist_ok=True)
    return target


def _check_replaceable(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file; --out names a folder for results")
    names = sorted(entry.name for entry in folder.iterdir()) if folder.is_dir() else []
    foreign = [name for name in names if name not in _WRITTEN and not name.startswith(_LEFT_BY_SYSTEMS)]
    if foreign or (names and VERDICT_FILE not in names):
        listed = ", ".join((foreign or names)[:_LISTED]) + (", …" if len(foreign or names) > _LISTED else "")
        raise InputError(
            f"{folder} holds files that are not results ({listed}), and a fit replaces the whole folder; "
            "move them away, or name another folder with --out"
        )


def restore_interrupted(folder: Path) -> bool:
    """Put back the last results when a swap was cut off between its two renames; true when it was."""
    previous = beside(folder, "previous")
    if not previous.is_dir() or folder.exists():
        return False
    previous.rename(folder)
    return True


def swap_in(folder: Path, write: Callable[[Path], None]) -> None:
    """Write results into a new folder beside, then put it in place of the old one.

    Parameters
    ----------
    folder : Path
        Where the results belong.
    write : callable
        Writes all files into the folder it is given; when it fails nothing has changed.
    """
    new, previous = beside(folder, "writing"), beside(folder, "previous")
    restore_interrupted(folder)
    shutil.rmtree(new, ignore_errors=True)
    shutil.rmtree(previous, ignore_errors=True)
    new.mkdir(parents=True)
    try:
        write(new)
        _reach_the_disk(new)
        if folder.exists():
            folder.rename(previous)
        new.rename(folder)
    except BaseException:
        shutil.rmtree(new, ignore_errors=True)
        restore_interrupted(folder)
        raise
    shutil.rmtree(previous, ignore_errors=True)


def _reach_the_disk(folder: Path) -> None:
    """Wait until the files are on the disk: the old ones go next, and the power may."""
    for path in folder.rglob("*"):
        if path.is_file():
            with path.open("rb+") as stream:
                os.fsync(stream.fileno())


def beside(folder: Path, state: str) -> Path:
    """Return the hidden neighbour in which results are made ("writing") or moved aside ("previous")."""
    absolute = folder.absolute()
    return absolute.with_name(f".{absolute.name}-{state}")


_PART = ".part"
_ABANDONED_S = 60.0
"""Age of a part file from which nobody is writing it any more [s] (a choice)."""


def write_whole(path: Path, text: str) -> None:
    """Write a file beside its place and move it there, so that a half-written one is never seen.

    Raises
    ------
    OSError
        When the folder cannot be written; then nothing is left there.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=_PART, dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def part_files(folder: Path) -> list[Path]:
    """Return files in a folder that a killed run began to write, and nobody has touched for a minute."""
    if not folder.is_dir():
        return []
    long_ago = time.time() - _ABANDONED_S
    return [path for path in folder.glob(f".*{_PART}") if path.stat().st_mtime < long_ago]

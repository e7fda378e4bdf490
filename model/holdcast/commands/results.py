"""Results folders: written beside, swapped in whole; a fit that is killed leaves the last one standing."""

import shutil
from collections.abc import Callable
from pathlib import Path

from holdcast.commands.common import InputError

__all__ = ["check_target", "restore_interrupted", "swap_in", "unreliable_folder"]

_MARK = "verdict.json"


def unreliable_folder(folder: Path) -> Path:
    """Return where results with a bad verdict go: beside the good ones."""
    return folder.with_name(f"{folder.name}-unreliable")


def check_target(folder: Path) -> None:
    """Raise before any work when results cannot or must not be written to a folder.

    Raises
    ------
    InputError
        When the folder is a file, or holds something that is not a results folder.
    OSError
        When the folder beside which results are written cannot be written to.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file; --out names a folder for results")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / _MARK).is_file():
        raise InputError(
            f"{folder} holds files that are not results, and would be replaced as a whole; "
            "name another folder with --out"
        )
    folder.parent.mkdir(parents=True, exist_ok=True)
    trial = _beside(folder, "writing")
    shutil.rmtree(trial, ignore_errors=True)
    trial.mkdir()
    trial.rmdir()


def restore_interrupted(folder: Path) -> None:
    """Put back the last results when a swap was cut off between its two renames."""
    previous = _beside(folder, "previous")
    if previous.is_dir() and not folder.exists():
        previous.rename(folder)


def swap_in(folder: Path, write: Callable[[Path], None]) -> None:
    """Write results into a new folder beside, then put it in place of the old one.

    Parameters
    ----------
    folder : Path
        Where the results belong.
    write : callable
        Writes all files into the folder it is given; when it fails nothing has changed.
    """
    new, previous = _beside(folder, "writing"), _beside(folder, "previous")
    restore_interrupted(folder)
    shutil.rmtree(new, ignore_errors=True)
    shutil.rmtree(previous, ignore_errors=True)
    new.mkdir(parents=True)
    try:
        write(new)
        if folder.exists():
            folder.rename(previous)
        new.rename(folder)
    except BaseException:
        shutil.rmtree(new, ignore_errors=True)
        restore_interrupted(folder)
        raise
    shutil.rmtree(previous, ignore_errors=True)


def _beside(folder: Path, state: str) -> Path:
    absolute = folder.absolute()
    return absolute.with_name(f".{absolute.name}-{state}")

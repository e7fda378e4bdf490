"""What a killed run leaves beside a results folder: found, told, and cleaned up when nobody writes there."""

import errno
import shutil
from pathlib import Path

from holdcast.capacity.results.pair import POSTERIOR_FILE, VERDICT_FILE, is_whole
from holdcast.commands.folders.kept_draws import draws_folder, may_replace_draws
from holdcast.commands.folders.locking import lock_of, only_writer
from holdcast.commands.folders.results import (
    beside,
    part_files,
    restore_interrupted,
    unreliable_folder,
)

__all__ = ["clean_up", "tidied"]

_STATES = ("writing", "previous")


def tidied(results: Path) -> list[str]:
    """Clean up beside a results folder unless a fit is writing it, and return what was done, as sentences.

    Parameters
    ----------
    results : Path
        The folder, which need not exist.
    """
    if not _leftovers(results) and not lock_of(results).exists():
        return []
    try:
        with only_writer(results):
            return clean_up(results) or [
                f"removed {lock_of(results).name}, left beside {results} by a fit that was killed"
            ]
    except OSError as error:
        if error.errno == errno.EBUSY:
            return [f"a fit is writing {results} at this moment; its files were left alone"]
        names = ", ".join(path.name for path in _leftovers(results)) or lock_of(results).name
        return [f"an interrupted fit left {names} beside {results}, and they cannot be removed ({error})"]


def clean_up(results: Path) -> list[str]:
    """Put back, rescue and remove what a killed run left; the caller holds the lock.

    Results that were moved aside are put back, and finished draws are kept where the next fit finds them.
    """
    sentences = []
    for folder in (results, unreliable_folder(results)):
        if restore_interrupted(folder):
            sentences.append(
                f"put the last results back into {folder}: a fit was killed while it replaced them"
            )
        if _rescued(beside(folder, "writing"), draws_folder(results)):
            sentences.append(
                f"kept the finished draws of a fit that was killed in {draws_folder(results)}; "
                "the same fit goes on from them"
            )
    for path in _leftovers(results):
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
        sentences.append(f"removed {path.name}, left beside {results} by a fit that was killed")
    return sentences


def _leftovers(results: Path) -> list[Path]:
    folders = (results, unreliable_folder(results))
    places = [beside(folder, state) for folder in folders for state in _STATES]
    return [*(path for path in places if path.is_dir()), *part_files(results)]


def _rescued(unfinished: Path, draws: Path) -> bool:
    """Move the draws out of an unfinished folder when they are whole and no others are kept already."""
    if not is_whole(unfinished) or is_whole(draws) or not may_replace_draws(draws):
        return False
    draws.mkdir(exist_ok=True)
    for name in (POSTERIOR_FILE, VERDICT_FILE):  # the verdict last: a folder that has it is whole
        (unfinished / name).replace(draws / name)
    return True

"""One writer at a time for a results folder; the right ends with the program that holds it."""

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

__all__ = ["only_writer"]

_TAKEN = {errno.EAGAIN, errno.EACCES, errno.EDEADLK}


@contextmanager
def only_writer(lock: Path) -> Iterator[None]:
    """Hold a lock file while results are made, so that two runs cannot mix their files.

    Parameters
    ----------
    lock : Path
        The file; made when it is missing, and taken away in the end. One left by a killed run does not lock:
        the system lets go for it.

    Raises
    ------
    OSError
        With ``errno.EBUSY`` when another run holds it; otherwise when the file cannot be made.
    """
    handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        _take(handle, lock)
        try:
            yield
        finally:
            with suppress(OSError):
                lock.unlink()
    finally:
        os.close(handle)


def _take(handle: int, lock: Path) -> None:
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in _TAKEN:
            busy = "another holdcast run is writing these results; wait for it, or name another folder"
            raise OSError(errno.EBUSY, busy, str(lock.parent)) from error
        # Some network folders know no locks: then there is nothing to ask.

"""One writer at a time for a results folder; the right ends with the program that holds it."""

import errno
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

__all__ = ["lock_of", "only_writer"]

_NO_LOCKS_HERE = {errno.ENOSYS, errno.ENOTSUP, errno.ENOLCK}


def lock_of(results: Path) -> Path:
    """Return the lock file of a results folder, which lies beside it."""
    return results.absolute().with_name(f".{results.absolute().name}-lock")


@contextmanager
def only_writer(results: Path) -> Iterator[None]:
    """Hold the lock of a results folder, so that two runs cannot mix their files.

    The lock file is made when it is missing, and taken away in the end.  One left by a killed run does not
    lock: the system lets go for it.  Some network folders know no locks; there nothing is asked.

    Parameters
    ----------
    results : Path
        The folder that is going to be written; it need not exist.

    Raises
    ------
    OSError
        With ``errno.EBUSY`` when another run holds it; otherwise when the file cannot be made.
    """
    path = lock_of(results)
    # Falling back to a file whose presence locks would shut everybody out after a kill.
    lock = FileLock(path, blocking=False, fallback_to_soft=False)
    try:
        lock.acquire()
    except Timeout as error:
        busy = "another holdcast run is writing these results; wait for it, or name another folder"
        raise OSError(errno.EBUSY, busy, str(results)) from error
    except OSError as error:
        if error.errno not in _NO_LOCKS_HERE:
            raise
    try:
        yield
    finally:
        # Taken away while it is held: whoever has it open already sees that its name is gone, and asks again.
        with suppress(OSError):
            path.unlink()
        lock.release()

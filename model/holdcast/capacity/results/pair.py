"""The two files of a fit and what binds them; light, so that looking at a folder loads no library.

``verdict.json`` names the version of the results and the SHA-256 of the ``posterior.nc`` it belongs to, and
``posterior.nc`` holds the verdict's text.  This shows what was mixed up, cut off or edited; it is no
signature, and anybody who writes both files can make them agree.
"""

import hashlib
import json
from pathlib import Path

__all__ = [
    "MOST_POSTERIOR_BYTES",
    "MOST_VERDICT_BYTES",
    "POSTERIOR_FILE",
    "RESULTS_VERSION",
    "VERDICT_FILE",
    "ResultsError",
    "approximate_in",
    "digest_of",
    "is_whole",
]

RESULTS_VERSION = 8
"""Raised when a saved fit's groups or variables change their meaning."""
POSTERIOR_FILE = "posterior.nc"
VERDICT_FILE = "verdict.json"
MOST_VERDICT_BYTES = 100_000
"""Of ``verdict.json``; fit writes about 1 kB (a choice)."""
MOST_POSTERIOR_BYTES = 4_000_000_000
"""Of ``posterior.nc``; a log of 340 pulls, 21 anchors and 7 seabeds takes 70 MB (a choice)."""


class ResultsError(Exception):
    """A folder that does not hold a readable fit; the message says which file and what to do."""


def digest_of(posterior: Path) -> str:
    """Return the SHA-256 of a file, as hexadecimal digits.

    Raises
    ------
    OSError
        When it cannot be read.
    """
    with posterior.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def is_whole(folder: Path) -> bool:
    """Whether a folder holds both files of one fit, written to their ends."""
    posterior = folder / POSTERIOR_FILE
    try:
        named = _plain(folder).get("posterior_sha256")
        return isinstance(named, str) and named == digest_of(posterior)
    except (OSError, ValueError):
        return False


def approximate_in(folder: Path) -> bool:
    """Whether a folder holds a quick fit; false where nothing tells so."""
    try:
        return _plain(folder).get("approximate") is True
    except (OSError, ValueError):
        return False


def _plain(folder: Path) -> dict[str, object]:
    """Return verdict.json unchecked; ValueError when it is too large, too deep or no object."""
    path = folder / VERDICT_FILE
    if path.stat().st_size > MOST_VERDICT_BYTES:
        raise ValueError("too large")
    try:
        fields = json.loads(path.read_text(encoding="utf-8"))
    except RecursionError as error:
        raise ValueError("too deep") from error
    if not isinstance(fields, dict):
        raise ValueError("no object")
    return fields

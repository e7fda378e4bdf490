"""What compiled loops over draws share: a key of the code they hold, and the draws in parts, one a thread."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from pathlib import Path
from types import ModuleType

import numpy as np

__all__ = ["in_parts", "key_of_sources"]

_MOST_THREADS = 8
"""That share the draws."""


def key_of_sources(*modules: ModuleType) -> str:
    """Return a key of the code of some modules, so that a compiler's cache never gives an old one."""
    files = sorted({str(module.__file__) for module in modules})
    return sha256(b"".join(Path(file).read_bytes() for file in files)).hexdigest()


def in_parts[Part](number: int, work: Callable[[slice], Part]) -> list[Part]:
    """Return what a function gives for each part of so many draws, one part a thread, in their order."""
    parts = max(1, min(os.cpu_count() or 1, _MOST_THREADS, number))
    ends = np.linspace(0, number, parts + 1).astype(int).tolist()
    with ThreadPoolExecutor(parts) as pool:
        return list(pool.map(work, map(slice, ends, ends[1:])))

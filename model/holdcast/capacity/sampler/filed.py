"""Finished code of densities, filed under the key of the model that it belongs to.

The compiler's own cache holds the code, under a key that it takes from the finished graph.  A line of text
beside it says which of those keys belongs to which of ours.
"""

from uuid import uuid4

import pytensor
from numba.core.errors import NumbaError
from pytensor.link.numba.cache import CACHED_SRC_FUNCTIONS, NUMBA_CACHE_PATH, compile_numba_function_src
from pytensor.link.numba.dispatch.basic import numba_njit

from holdcast.capacity.sampler.density import Layout
from holdcast.capacity.symbols import Compiled

__all__ = ["file_density", "filed_density"]


def filed_density(key: str, layout: Layout) -> Compiled | None:
    """Return the compiled density of a key from the cache, or None where it is not there.

    Parameters
    ----------
    key : str
        From :func:`holdcast.capacity.sampler.code_key.code_key`.
    layout : Layout
        Of the model: what the density is called with for the first time.
    """
    try:
        name, graph_key = (NUMBA_CACHE_PATH / f"density-{key}.txt").read_text(encoding="ascii").split()
    except (OSError, ValueError):
        return None
    # The same words as the compiler's own function around a graph, which then is found instead of compiled;
    # where it is not found, there is no graph in it to compile, and that fails.
    source = f"def {name}(*args): return jitable_func(*args)"
    function = compile_numba_function_src(source, name, {"jitable_func": None}, cache_key=graph_key)
    with pytensor.config.change_flags(numba__fastmath=False):
        density: Compiled = numba_njit(function, final_function=True, cache=True)
    try:
        density(layout.start, layout.data.numbers, layout.data.positions)
    except NumbaError:
        return None
    return density


def file_density(key: str, density: Compiled) -> None:
    """Note under which key the compiler keeps a density; without one it was not cached at all."""
    graph_key = CACHED_SRC_FUNCTIONS.get(density.py_func)
    path = NUMBA_CACHE_PATH / f"density-{key}.txt"
    if graph_key is None or path.exists():
        return
    part = path.with_suffix(f".{uuid4().hex}")
    part.write_text(f"{density.py_func.__name__} {graph_key}\n", encoding="ascii")
    part.replace(path)

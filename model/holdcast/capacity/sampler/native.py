"""The two C functions that the sampler calls for each step, around a compiled density.

The sampler's own wrapper links the whole density into itself and optimises it a second time, which takes
longer than everything else in a warm start.  Here the density is called through its address, which travels
with the data: so these two serve every model, and are compiled once a machine.
"""

from functools import cache
from hashlib import sha256
from pathlib import Path

import numba
import numpy as np
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic
from pytensor.link.numba.cache import CACHED_SRC_FUNCTIONS

from holdcast.capacity.symbols import Compiled

__all__ = ["address_of", "density_entry", "identity_entry"]

_DOUBLES = types.CPointer(types.double)
_C_DENSITY = types.int64(types.uint64, _DOUBLES, _DOUBLES, _DOUBLES, types.voidptr)
_C_EXPAND = types.int64(types.uint64, types.uint64, _DOUBLES, _DOUBLES, types.voidptr)
_FAILED, _BAD_GRADIENT, _BAD_DENSITY = 1, 3, 4
"""Answers that make the sampler count a divergence."""

_VECTOR = types.Array(types.float64, 1, "C")
_ARGUMENTS = types.Tuple((_VECTOR, _VECTOR, types.Array(types.int64, 1, "C")))
_DENSITY = types.Tuple((types.Array(types.float64, 0, "C"), _VECTOR))(_ARGUMENTS)
_DENSITY_TYPE = types.FunctionType(_DENSITY)
"""Any compiled density: of one tuple (point, numbers, positions) to the log density and its gradient."""


def address_of(density: Compiled) -> int:
    """Return where a compiled density stands in memory.

    Raises
    ------
    TypeError
        When it is not a function of (point, numbers, positions) to a number and a vector.
    """
    compiled = density.overloads[density.signatures[0]]
    if compiled.signature != _DENSITY:
        raise TypeError(f"a density of the signature {compiled.signature} cannot be called by the sampler")
    return int(compiled.library.get_pointer_to_function(compiled.fndesc.llvm_cfunc_wrapper_name))


@intrinsic  # type: ignore[untyped-decorator]  # the library is untyped
def _pointer(typing_context: Compiled, address: Compiled) -> Compiled:
    """Return an address as a pointer; only compiled code can call it."""

    def generate(context: Compiled, builder: Compiled, signature: Compiled, arguments: Compiled) -> Compiled:
        return builder.inttoptr(arguments[0], cgutils.voidptr_t)

    return types.voidptr(address), generate


@intrinsic  # type: ignore[untyped-decorator]
def _density_at(typing_context: Compiled, address: Compiled) -> Compiled:
    """Return the density at an address, by the compiler's protocol for first-class functions."""

    def generate(context: Compiled, builder: Compiled, signature: Compiled, arguments: Compiled) -> Compiled:
        function = cgutils.create_struct_proxy(_DENSITY_TYPE)(context, builder)
        function.c_addr = builder.inttoptr(arguments[0], cgutils.voidptr_t)
        return function._getvalue()

    return _DENSITY_TYPE(address), generate


def _density_entry(dim, point_, gradient_, density_, data_):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    words = numba.carray(data_, (9,), np.uintp)
    address = numba.carray(_pointer(words[2]), (1,), np.uintp)[0]
    numbers = numba.carray(_pointer(words[0]), (words[3],), np.float64)
    positions = numba.carray(_pointer(words[1]), (words[4],), np.int64)
    density = _density_at(address)
    value, slopes = density((numba.carray(point_, (dim,)), numbers, positions))
    if slopes.size != dim:  # an error inside leaves an empty answer
        return _FAILED
    gradient = numba.carray(gradient_, (dim,))
    for entry_of in range(dim):
        if not np.isfinite(slopes[entry_of]):
            return _BAD_GRADIENT
        gradient[entry_of] = slopes[entry_of]
    numba.carray(density_, (1,))[0] = value[()]
    return 0 if np.isfinite(value[()]) else _BAD_DENSITY


def _identity_entry(dim, expanded, point_, out_, data_):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    point, out = numba.carray(point_, (dim,)), numba.carray(out_, (dim,))
    for entry_of in range(dim):
        out[entry_of] = point[entry_of]
    return 0


@cache
def density_entry() -> Compiled:
    """Return the C function that writes the gradient and the log density at a point.

    Returns
    -------
    C function
        Its last argument points at nine words: addresses of numbers, of positions and of the density's own
        address, then their sizes and lengths, as the sampler lays them out.
    """
    return _from_cache(_density_entry, _C_DENSITY)


@cache
def identity_entry() -> Compiled:
    """Return the C function that keeps the point itself as the draw; derived variables come later."""
    return _from_cache(_identity_entry, _C_EXPAND)


def _from_cache(function: Compiled, signature: Compiled) -> Compiled:
    # The modelling library's cache, since there is always a folder for it.
    CACHED_SRC_FUNCTIONS[function] = sha256(Path(__file__).read_bytes()).hexdigest()
    return numba.cfunc(signature, cache=True)(function)

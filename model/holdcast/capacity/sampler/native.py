"""The two C functions that the sampler calls for each step, around a compiled density.

The sampler's own wrapper links the whole density into itself and optimises it a second time, which takes
longer than everything else in a warm start.  Here the density is called through its address instead: the
compiler's "wrapper address protocol" for first-class functions.
"""

from typing import Any

import numba
import numpy as np
from numba import types
from numba.core import cgutils
from numba.core.types import WrapperAddressProtocol
from numba.extending import intrinsic

from holdcast.capacity.symbols import Compiled

__all__ = ["density_entry", "identity_entry"]

_DOUBLES = types.CPointer(types.double)
_DENSITY = types.int64(types.uint64, _DOUBLES, _DOUBLES, _DOUBLES, types.voidptr)
_EXPAND = types.int64(types.uint64, types.uint64, _DOUBLES, _DOUBLES, types.voidptr)
_FAILED, _BAD_GRADIENT, _BAD_DENSITY = 1, 3, 4
"""Answers that make the sampler count a divergence."""


class _ByAddress(WrapperAddressProtocol):
    """A compiled function that other compiled code calls by its address, not linked into it."""

    def __init__(self, function: Compiled) -> None:
        self.compiled = function.overloads[function.signatures[0]]

    def __wrapper_address__(self) -> int:
        name = self.compiled.fndesc.llvm_cfunc_wrapper_name
        return int(self.compiled.library.get_pointer_to_function(name))

    def signature(self) -> Compiled:
        return self.compiled.signature


@intrinsic  # type: ignore[untyped-decorator]  # the library is untyped
def _pointer(typing_context: Compiled, address: Compiled) -> Compiled:
    """Return an address as a pointer; only compiled code can call it."""

    def generate(context: Compiled, builder: Compiled, signature: Compiled, arguments: Compiled) -> Compiled:
        return builder.inttoptr(arguments[0], cgutils.voidptr_t)

    return types.voidptr(address), generate


def density_entry(function: Compiled, size: int, positions_type: np.dtype[Any]) -> Compiled:
    """Return a C function that writes the gradient and the log density at a point.

    Parameters
    ----------
    function : compiled function of one tuple (point, numbers, positions)
        It must have been called once.
    size : int
        Length of the point.
    positions_type : dtype
        Of the positions.

    Returns
    -------
    C function
        Its last argument points at six words: addresses, sizes and lengths of the two arrays, as the sampler
        lays them out.
    """
    density: Compiled = _ByAddress(function)

    @numba.cfunc(_DENSITY)
    def entry(dim, point_, gradient_, density_, data_):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
        words = numba.carray(data_, (6,), np.uintp)
        numbers = numba.carray(_pointer(words[0]), (words[2],), np.float64)
        positions = numba.carray(_pointer(words[1]), (words[3],), positions_type)
        value, slopes = density((numba.carray(point_, (size,)), numbers, positions))
        if slopes.size != size:  # an error inside leaves an empty answer
            return _FAILED
        gradient = numba.carray(gradient_, (size,))
        for entry_of in range(size):
            if not np.isfinite(slopes[entry_of]):
                return _BAD_GRADIENT
            gradient[entry_of] = slopes[entry_of]
        numba.carray(density_, (1,))[0] = value[()]
        return 0 if np.isfinite(value[()]) else _BAD_DENSITY

    return entry


def identity_entry(size: int) -> Compiled:
    """Return a C function that keeps the point itself as the draw; derived variables are computed later."""

    @numba.cfunc(_EXPAND)
    def entry(dim, expanded, point_, out_, data_):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
        point, out = numba.carray(point_, (size,)), numba.carray(out_, (size,))
        for entry_of in range(size):
            out[entry_of] = point[entry_of]
        return 0

    return entry

"""How exactly draws are kept: seven digits, in half the room of what they are computed in."""

import numpy as np
import xarray as xr

__all__ = ["as_saved", "encodings"]


def as_saved(draws: xr.Dataset) -> xr.Dataset:
    """Return draws rounded as the file keeps them, so that a fit answers alike before and after it is saved.

    A log capacity of 8 is rounded by at most 5e-7, so that a capacity changes by less than one in a million.
    """
    return draws.map(
        lambda each: each.astype(np.float32).astype(np.float64) if each.dtype == np.float64 else each,
        keep_attrs=True,
    )


def encodings(tree: xr.DataTree) -> dict[str, dict[str, dict[str, object]]]:
    """Return what the file library is told: every number with a value for each draw in single precision.

    Without compression: draws are noise in all but their first digits, so that it saves a tenth of the room.
    """
    return {
        path: {
            str(name): {"dtype": "float32"}
            for name, variable in node.data_vars.items()
            if "draw" in variable.dims and variable.dtype == np.float64
        }
        for path, node in ((f"/{name}", child) for name, child in tree.children.items())
    }

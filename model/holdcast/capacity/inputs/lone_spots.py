"""Which spots hold one pull and nothing else: the sampler moves no number for those, see `docs/model.md`."""

import numpy as np
import xarray as xr

__all__ = ["lone_spot_inputs"]


def lone_spot_inputs(inputs: xr.Dataset) -> xr.Dataset:
    """Return which spots are alone, and where the others stand.

    Parameters
    ----------
    inputs : Dataset
        ``spot_pulls``, ``reset_spot`` and ``veer_spot``.

    Returns
    -------
    Dataset, dims (spot, shared_spot)
        ``spot_alone`` (spot): 1 where one pull is all there is of a spot, 0 elsewhere; ``shared_spot_at``
        (shared_spot): positions of the others.
    """
    spots = inputs["spot"].to_numpy()
    pulls = inputs["spot_pulls"].to_numpy()
    others = sum(
        np.bincount(inputs[f"{test}_spot"].to_numpy(), minlength=len(spots)) for test in ("reset", "veer")
    )
    alone = (pulls == 1) & (others == 0)
    return xr.Dataset(
        {
            "spot_alone": ("spot", alone.astype(np.int64)),
            "shared_spot_at": ("shared_spot", np.flatnonzero(~alone).astype(np.int64)),
        },
        coords={"spot": spots, "shared_spot": spots[~alone]},
    )

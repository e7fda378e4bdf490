"""What the angle of the fluke is worth to hidden cells, where it matters as published and where it does not.

    PYTHONPATH=scripts/evidence python -m grounds.fluke_angles --campaigns 8 --out angles.jsonl

Each campaign is fitted twice, with the angles of its log and as if nobody had written them down, and is one
JSON line in the file, written when it is done; the same command goes on where it stopped.  ``--first N``
begins at another campaign number.  ``--table`` only prints what the file holds.
"""

import sys

import numpy as np
import xarray as xr

from grounds.paired import Comparison, compare
from invented.truth import ANGLE_WORLDS, DESIGN_OF, STEEP_ANGLES

_TWO_ANGLES = sorted({int(DESIGN_OF[anchor]) for anchor in STEEP_ANGLES})


def without_angles(inputs: xr.Dataset) -> xr.Dataset:
    """Return what the model is told of a log as if nobody had written the angles down."""
    return inputs.isel(angle_ground=slice(0, 0), angle_ground_other=slice(0, 0)).assign(
        fluke_angle_steps=xr.zeros_like(inputs["fluke_angle_steps"])
    )


COMPARISON = Comparison(
    seed=20_261_201,
    worlds=list(ANGLE_WORLDS),
    without=without_angles,
    groups={
        "all": lambda anchors, _: np.ones(len(anchors), dtype=bool),
        "designs of two angles": lambda anchors, _: np.isin(DESIGN_OF[anchors], _TWO_ANGLES),
        "steep flukes": lambda anchors, _: np.isin(anchors, list(STEEP_ANGLES)),
    },
    learnt="fluke_angle_slope",
)


if __name__ == "__main__":
    sys.exit(compare(COMPARISON, __doc__ or ""))

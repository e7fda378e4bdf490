"""What the cover of a seabed is worth to hidden cells, where it matters and where it does not.

    PYTHONPATH=scripts/evidence python -m grounds.covers --campaigns 8 --out covers.jsonl

In each campaign nobody pulled in one weedy seabed; two others have weed.  Each is fitted twice, with the
covers of its file and as if nobody had written them down, and is one JSON line in the file, written when it
is done; the same command goes on where it stopped.  ``--first N`` begins at another campaign number.
``--table`` only prints what the file holds.
"""

import sys

import numpy as np
import xarray as xr

from grounds.paired import Comparison, compare
from invented.truth import COVER_WORLDS, COVERS, HIDDEN_SEABED

_COVERED = [place for place, cover in enumerate(COVERS) if cover and place != HIDDEN_SEABED]


def without_covers(inputs: xr.Dataset) -> xr.Dataset:
    """Return what the model is told of a log as if nobody had written down what lies on top."""
    return inputs.isel(cover=slice(0, 0))


COMPARISON = Comparison(
    seed=20_261_205,
    worlds=list(COVER_WORLDS),
    without=without_covers,
    groups={
        "of seabeds that were pulled in, covered": lambda _, seabeds: np.isin(seabeds, _COVERED),
        "of the weedy seabed that nobody pulled in": lambda _, seabeds: seabeds == HIDDEN_SEABED,
    },
    learnt="cover_resistance",
)


if __name__ == "__main__":
    sys.exit(compare(COMPARISON, __doc__ or ""))

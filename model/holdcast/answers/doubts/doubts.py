"""All doubts about the results of a fit: capacities that theory, the pulls or the gear speak against."""

import xarray as xr

from holdcast.answers.doubts.bearing_theory import theory_doubts
from holdcast.answers.doubts.open_ended import open_ended_doubts
from holdcast.answers.doubts.result_doubt import ResultDoubt
from holdcast.answers.doubts.tackle import tackle_doubts
from holdcast.capacity.fitting import Fit

__all__ = ["result_doubts"]


def result_doubts(fit: Fit, cells: xr.Dataset) -> list[ResultDoubt]:
    """Return all doubts about the capacities of a fit; ``cells`` as from :func:`holdcast.answers.cells`."""
    return [*theory_doubts(fit, cells), *open_ended_doubts(fit), *tackle_doubts(fit, cells)]

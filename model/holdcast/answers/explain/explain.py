"""One cell in short: its capacity, what stands behind it, its width without its own pulls."""

import numpy as np
import xarray as xr

from holdcast.answers.cells.own_data import without_own_pulls
from holdcast.answers.draws.bands import BANDS, band
from holdcast.answers.draws.counts import counts, seabeds_visited_again
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.provenance import about
from holdcast.answers.explain.influence import cell_draws
from holdcast.capacity.fitting import Fit

__all__ = ["explain"]


def explain(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Return what is known of one cell.

    Parameters
    ----------
    fit : Fit
    anchor, seabed : str
        The cell.

    Returns
    -------
    Dataset, dim quantile
        ``capacity_n`` (quantile) [N]; ``sd`` and ``sd_without`` [log N]: spread of log capacity with and
        without the cell's own pulls, see :mod:`holdcast.answers.cells.own_data`; ``sd_without_pareto_k`` [1]:
        above 0.7 ``sd_without`` is only roughly known; ``pulls``, ``visits`` and ``bounded`` as from
        :func:`holdcast.answers.draws.counts.counts`; ``visited_again``: how many seabeds of the log were
        pulled in on more than one visit.

    Attributes
    ----------
        ``anchor``, ``seabed``.  Where the pulls moved the middle as well, only the width is told.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    draws = draws_of(fit)
    capacity = xr.DataArray(np.exp(cell_draws(fit, anchor, seabed)))
    cell = {"anchor": anchor, "seabed": seabed}
    spread = without_own_pulls(fit, (anchor, seabed)).sel(cell).reset_coords(drop=True)
    count = counts(draws).sel(cell).reset_coords(drop=True)
    return xr.Dataset(
        {
            "capacity_n": band(capacity, BANDS).assign_attrs(about("N", "capacity")),
            "sd": spread["sd_all"],
            "sd_without": spread["sd_without"],
            "sd_without_pareto_k": spread["pareto_k"],
            **count[["pulls", "visits", "bounded"]].data_vars,
            "visited_again": ((), len(seabeds_visited_again(draws)), about("1", "seabeds visited again")),
        },
        attrs=cell,
    )

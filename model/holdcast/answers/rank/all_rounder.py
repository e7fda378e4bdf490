"""How an anchor does over all seabeds: its least efficiency of them, and the chance that all exceed one."""

from collections.abc import Sequence

import numpy as np
import xarray as xr

from holdcast.answers.draws.bands import band
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.rank.rank import every_seabed
from holdcast.capacity.fitting import Fit
from holdcast.physics.units import GRAVITY

__all__ = ["all_rounder"]


def all_rounder(fit: Fit, efficiency: float, *, without: Sequence[str] = ()) -> xr.Dataset:
    """Return each anchor's efficiency over all seabeds beside a chosen one.

    Parameters
    ----------
    fit, efficiency, without
        As in :func:`holdcast.answers.rank.rank.every_seabed`.

    Returns
    -------
    Dataset, dims (anchor, seabed, quantile)
        What :func:`~holdcast.answers.rank.rank.every_seabed` gives, so ``p_every`` is the same number; and
        ``least_efficiency`` (anchor, quantile) [1], the least over the seabeds, taken draw by draw, of an
        anchor that set; ``median_efficiency`` (anchor, seabed) [1]; ``tested`` (anchor, seabed), whether a
        pull was used there.

    Raises
    ------
    KeyError
        When a seabed left out is not known.
    ValueError
        When the efficiency is not above 0 or no seabed is left.
    """
    answer = every_seabed(fit, efficiency, without=without)
    draws, seabeds = draws_of(fit), answer["seabed"]
    weight = fit.tree["anchors"]["mass_kg"] * GRAVITY
    log_ratio = draws.posterior["log_capacity"].sel(seabed=seabeds) - np.log(weight)
    least, each = (_exp(values) for values in (log_ratio.min("seabed"), log_ratio))
    return answer.assign(
        least_efficiency=band(least).assign_attrs(about("1", "least efficiency over the seabeds")),
        median_efficiency=each.median("sample").assign_attrs(about("1", "median efficiency in the seabed")),
        tested=counts(draws)["tested"].sel(seabed=seabeds),
    ).assign_attrs(provenance(fit, draws.seed))


def _exp(values: xr.DataArray) -> xr.DataArray:
    return values.copy(data=np.exp(values.to_numpy()))

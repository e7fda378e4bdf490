r"""Joint draws, few and compact, from which a reader's question about a boat is answered on the page itself.

The law of one new pull is that of every other answer (:mod:`holdcast.answers.draws.new_pull`).  Its chance
is integrated draw by draw, so that few draws are enough.  Pulls in several seabeds are independent
given the draw, so the chance of holding in all of them is the mean over draws of the product.
"""

from collections.abc import Sequence

import numpy as np
import xarray as xr
from scipy.special import ndtr

from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import Floats, draws_of
from holdcast.answers.draws.new_pull import least_load_n, load_survival, visit_and_spot
from holdcast.answers.draws.provenance import about
from holdcast.answers.draws.setting import chances_of_setting
from holdcast.capacity.fitting import Fit
from holdcast.physics.units import GRAVITY

__all__ = ["DRAWS", "holding_chance", "joint_draws"]

DRAWS = 400
"""Draws on the page: a chance near one half is then known to about a point (standard error of the mean of a
chance that itself varies from draw to draw by some 0.25)."""


def joint_draws(fit: Fit, number: int = DRAWS) -> xr.Dataset:
    """Return draws that belong together, evenly taken from all chains.

    Parameters
    ----------
    fit : Fit
    number : int
        At most so many draws.

    Returns
    -------
    Dataset, dims (sample, anchor, seabed)
        ``log_capacity`` (sample, anchor, seabed) [log N]; ``visit_spread`` (sample), of visit and spot
        together, and ``pull_scatter`` (sample, seabed) [log N]; ``sets`` (sample, anchor, seabed) [1], chance
        that the anchor sets; ``log_sliding_efficiency`` (sample), of the load over the weight at which an
        anchor slides that has not set, and ``sliding_scatter`` (sample) [log 1].  ``tested`` (anchor,
        seabed), ``mass_kg`` (anchor); ``floor_n`` (anchor) [N], the load that every pull reaches.

    Raises
    ------
    ValueError
        When the number is below 1.
    """
    if number < 1:
        raise ValueError(f"the page needs at least one draw, got {number}")
    draws = draws_of(fit)
    which = np.linspace(0, draws.samples - 1, min(number, draws.samples)).round().astype(int)
    cell = ("sample", "anchor", "seabed")
    log_capacity = draws.posterior["log_capacity"].transpose(*cell).to_numpy()[which]
    scatter = draws.posterior["pull_scatter"].transpose("sample", "seabed").to_numpy()[which]
    sets = chances_of_setting(draws).transpose(*cell).to_numpy()[which]
    efficiency, sliding = draws["sliding_efficiency"][which], draws["sliding_scatter"][which]
    return xr.Dataset(
        {
            "log_capacity": (cell, log_capacity, about("ln(re 1 N)", "log capacity")),
            "visit_spread": (
                "sample",
                visit_and_spot(draws)[which],
                about("ln(re 1 N)", "of visit and spot"),
            ),
            "pull_scatter": (("sample", "seabed"), scatter, about("ln(re 1 N)", "scale of a pull's scatter")),
            "sets": (cell, sets, about("1", "chance that the anchor sets")),
            "log_sliding_efficiency": (
                "sample",
                np.log(efficiency),
                about("1", "log of sliding load over weight"),
            ),
            "sliding_scatter": ("sample", sliding, about("1", "spread of the log sliding load")),
            "tested": counts(draws)["tested"],
            "floor_n": (
                "anchor",
                [least_load_n(draws, mass) for mass in draws.anchors["mass_kg"].to_numpy(dtype=float)],
                about("N", "least load that a new pull reaches"),
            ),
        },
        coords={
            "anchor": draws.labels("anchor"),
            "seabed": draws.labels("seabed"),
            "mass_kg": ("anchor", draws.anchors["mass_kg"].to_numpy(dtype=float)),
        },
    )


def holding_chance(draws: xr.Dataset, load_n: float, seabeds: Sequence[str]) -> xr.DataArray:
    """Return the chance that one new pull holds a load in each seabed, and in all of them together.

    Parameters
    ----------
    draws : Dataset
        As from :func:`joint_draws`.
    load_n : float
        Load at the anchor [N], above 0.
    seabeds : sequence of str

    Returns
    -------
    DataArray, dims (anchor, seabed)
        One column more than seabeds, the last, ``""``: in all together.

    Raises
    ------
    KeyError
        For an unknown seabed.
    ValueError
        When the load is not above 0 or no seabed is asked for.
    """
    if not load_n > 0.0 or not seabeds:
        raise ValueError(f"a load above 0 and at least one seabed are needed, got {load_n} N and {seabeds}")
    log_load = np.log(load_n)
    weight = np.log(draws["mass_kg"].to_numpy() * GRAVITY)
    sliding = draws["log_sliding_efficiency"].to_numpy() + weight[:, None]
    slid = ndtr((sliding - log_load) / draws["sliding_scatter"].to_numpy())
    columns: list[Floats] = []
    for seabed in seabeds:
        here = draws.sel(seabed=seabed).transpose("anchor", "sample", ...)
        capacity, sets = here["log_capacity"].to_numpy(), here["sets"].to_numpy()
        spreads = here["visit_spread"].to_numpy(), here["pull_scatter"].to_numpy()
        held = load_survival(np.full(capacity.shape, log_load), capacity, *spreads)
        below_floor = load_n <= here["floor_n"].to_numpy()[:, None]
        columns.append(np.where(below_floor, 1.0, sets * held + (1.0 - sets) * slid))
    every = np.stack([*columns, np.prod(columns, axis=0)], axis=1).mean(axis=2)
    coords = {"anchor": draws["anchor"], "seabed": [*seabeds, ""]}
    words = about("1", "chance that one new pull holds")
    return xr.DataArray(every, dims=("anchor", "seabed"), coords=coords, attrs=words)

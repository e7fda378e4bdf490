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
from holdcast.answers.draws.new_pull import (
    floor_of_weight_n,
    least_let_go,
    load_survival,
    visit_and_spot,
)
from holdcast.answers.draws.provenance import about
from holdcast.answers.draws.rode import least_tested_scope, log_needed, straight, tension_factor
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
        anchor slides that has not set, and ``sliding_scatter`` (sample) [log 1]; ``strength_of_fall``
        (sample) [1], with the angle of the rode.  ``tested`` (anchor, seabed), ``mass_kg`` (anchor);
        ``least_let_go`` [1], the least load over its anchor's weight at which a pull of the log let go,
        infinite when none did; ``least_scope`` [1], the least of the pulls that were lifted, NaN without any.

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
    least = least_tested_scope(fit)
    least_scope = np.nan if least is None else least
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
            "strength_of_fall": ("sample", draws["strength_of_fall"][which], about("1", "strength of fall")),
            "least_let_go": ((), least_let_go(draws), about("1", "least load over weight that let go")),
            "least_scope": ((), least_scope, about("1", "least scope of a pull that was lifted")),
        },
        coords={
            "anchor": draws.labels("anchor"),
            "seabed": draws.labels("seabed"),
            "mass_kg": ("anchor", draws.anchors["mass_kg"].to_numpy(dtype=float)),
        },
    )


def holding_chance(
    draws: xr.Dataset, load_n: float, seabeds: Sequence[str], scope: float | None = None
) -> xr.DataArray:
    """Return the chance that one new pull holds a load in each seabed, and in all of them together.

    Parameters
    ----------
    draws : Dataset
        As from :func:`joint_draws`.
    load_n : float
        Horizontal load [N], above 0.
    seabeds : sequence of str
    scope : float, optional
        Of a rode pulled straight; along the bottom without it, as in :func:`holdcast.answers.boat.boat`.

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
    PhysicsError
        When the scope is below 1.
    """
    if not load_n > 0.0 or not seabeds:
        raise ValueError(f"a load above 0 and at least one seabed are needed, got {load_n} N and {seabeds}")
    geometry = straight(scope)
    tension_n = load_n * tension_factor(geometry)
    log_load = np.log(tension_n)
    fall = draws["strength_of_fall"].to_numpy()
    needed = log_needed(np.full(fall.shape, log_load), fall, geometry)
    weight = draws["mass_kg"].to_numpy() * GRAVITY
    sliding = draws["log_sliding_efficiency"].to_numpy() + np.log(weight)[:, None]
    floor_n = floor_of_weight_n(weight, float(draws["least_let_go"]), geometry)
    slid = ndtr((sliding - log_load) / draws["sliding_scatter"].to_numpy())
    columns: list[Floats] = []
    for seabed in seabeds:
        here = draws.sel(seabed=seabed).transpose("anchor", "sample", ...)
        capacity, sets = here["log_capacity"].to_numpy(), here["sets"].to_numpy()
        spreads = here["visit_spread"].to_numpy(), here["pull_scatter"].to_numpy()
        held = load_survival(np.broadcast_to(needed, capacity.shape), capacity, *spreads)
        below_floor = tension_n <= floor_n[:, None]
        columns.append(np.where(below_floor, 1.0, sets * held + (1.0 - sets) * slid))
    every = np.stack([*columns, np.prod(columns, axis=0)], axis=1).mean(axis=2)
    coords = {"anchor": draws["anchor"], "seabed": [*seabeds, ""]}
    words = about("1", "chance that one new pull holds")
    return xr.DataArray(every, dims=("anchor", "seabed"), coords=coords, attrs=words)

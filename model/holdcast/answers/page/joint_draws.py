r"""Joint draws, few and compact, from which a reader's question about a boat is answered on the page itself.

The law of one new pull is that of every other answer: log load = log capacity + visit + pull scatter, the visit
normal, the scatter Student's t with 4 degrees of freedom.  Its chance is integrated draw by draw, so that few
draws are enough:

.. math:: P(\text{holds } F) = \pi \, P(c + v z + s t_4 > \log F) + (1 - \pi) \, P(\text{skates above } F)

with :math:`\pi` the chance that the anchor sets.  Pulls in several seabeds are independent given the draw, so
the chance of holding in all of them is the mean over draws of the product.
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.known import Floats
from holdcast.answers.draws.provenance import about
from holdcast.answers.draws.samples import pulls, samples
from holdcast.capacity.fitting import Fit

__all__ = ["DRAWS", "REACH", "holding_chance", "joint_draws", "pull_survival"]

DRAWS = 400
"""Draws on the page: a chance near one half is then known to about a point (standard error of the mean of a
chance that itself varies from draw to draw by some 0.25)."""
REACH = 4.8
"""Normal deviates beyond which the visit is not integrated; 2e-6 of a normal lie outside (computed)."""


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
        ``log_capacity`` (sample, anchor, seabed) [log N]; ``visit_spread`` (sample) and ``pull_scatter``
        (sample, seabed) [log N]; ``sets`` (sample, anchor, seabed) [1], chance that the anchor sets, and
        ``log_skating`` [log N], typical load at which it slides when it does not: only where the fit has them;
        without them every pull counts as set.  ``tested`` (anchor, seabed).

    Raises
    ------
    ValueError
        When the number is below 1.
    """
    if number < 1:
        raise ValueError(f"the page needs at least one draw, got {number}")
    posterior = fit.posterior
    available = posterior.sizes["chain"] * posterior.sizes["draw"]
    which = np.linspace(0, available - 1, min(number, available)).round().astype(int)
    order = {"log_capacity": ("anchor", "seabed"), "visit_spread": (), "pull_scatter": ("seabed",)}
    parts = {
        name: samples(posterior[name]).isel(sample=which).transpose("sample", *dims)
        for name, dims in order.items()
    }
    return xr.Dataset(
        {name: part.drop_vars([c for c in part.coords if c not in part.dims]) for name, part in parts.items()}
        | {"tested": (pulls(fit) > 0).assign_attrs(about("1", "whether a pull of the cell was used"))}
        | _setting(posterior, which)
    )


def _setting(posterior: xr.Dataset, which: NDArray[np.int_]) -> dict[str, xr.DataArray]:
    """Return the chance that an anchor sets, where the model of the fit has it."""
    if "sets_log_odds" not in posterior:
        return {}
    odds = samples(posterior["sets_log_odds"]).isel(sample=which).transpose("sample", "anchor", "seabed")
    sets = odds.copy(data=1.0 / (1.0 + np.exp(-odds.to_numpy())))
    return {"sets": sets.assign_attrs(about("1", "chance that the anchor sets"))}


def pull_survival(margin: Floats, visit_spread: Floats, pull_scatter: Floats) -> Floats:
    """Return the chance that one pull exceeds a load, draw by draw.

    Parameters
    ----------
    margin : array
        Log capacity less log load [1]; broadcasts with the spreads.
    visit_spread, pull_scatter : arrays
        Standard deviation of the visit and scale of the pull's scatter [log N].

    Returns
    -------
    array
        The distribution function of Student's t with 4 degrees of freedom is :math:`1/2 + 3u/4 - u^3/4` with
        :math:`u = t/\\sqrt{4 + t^2}` (computed from its density); the visit is summed on an even grid of at
        most one standard deviation, and of 0.85 scatters.
    """
    widest = float(np.max(np.asarray(visit_spread) / np.asarray(pull_scatter), initial=1e-9))
    steps = int(np.ceil(REACH / min(1.0, 0.85 / widest)))
    nodes = np.linspace(-REACH, REACH, 2 * steps + 1)
    weights = np.exp(-0.5 * nodes**2)
    total = np.zeros(np.broadcast_shapes(np.shape(margin), np.shape(visit_spread), np.shape(pull_scatter)))
    for node, weight in zip(nodes, weights / weights.sum(), strict=True):
        t = (margin + visit_spread * node) / pull_scatter
        u = t / np.sqrt(4.0 + t * t)
        total += weight * (0.5 + 0.75 * u - 0.25 * u**3)
    return total


def holding_chance(draws: xr.Dataset, load_n: float, seabeds: list[str]) -> xr.DataArray:
    """Return the chance that one new pull holds a load in each seabed, and in all of them together.

    Parameters
    ----------
    draws : Dataset
        As from :func:`joint_draws`.
    load_n : float
        Load at the anchor [N], above 0.
    seabeds : list of str

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
    here = draws.sel(seabed=seabeds).transpose("sample", "anchor", "seabed", ...)
    visit = here["visit_spread"].to_numpy()[:, None, None]
    scatter = here["pull_scatter"].transpose("sample", "seabed").to_numpy()[:, None, :]
    chance = pull_survival(here["log_capacity"].to_numpy() - np.log(load_n), visit, scatter)
    if "sets" in here:
        sets = here["sets"].to_numpy()
        slides: Floats = np.zeros_like(chance)
        if "log_skating" in here:
            slides = pull_survival(here["log_skating"].to_numpy() - np.log(load_n), visit, scatter)
        chance = sets * chance + (1.0 - sets) * slides
    every = np.concatenate([chance, chance.prod(axis=2, keepdims=True)], axis=2).mean(axis=0)
    coords = {"anchor": here["anchor"], "seabed": [*seabeds, ""]}
    return xr.DataArray(
        every, dims=("anchor", "seabed"), coords=coords, attrs=about("1", "chance that one new pull holds")
    )

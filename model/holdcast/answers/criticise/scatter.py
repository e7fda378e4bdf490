"""Whether pulls scatter, seabed by seabed, as widely and with such tails as the model says.

Residuals of pulls left out are standard normal when the model is right, so in n pulls of a seabed (n - 1) s²
is χ² with n - 1 degrees of freedom, and the number beyond the 90% band is binomial.  Where a load is known
only between two ends its residual is a random draw; numbers and p-values are means over many such draws,
which makes them say a little less than they could.
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy import stats

from holdcast.answers.criticise.predictions import LEFT_OUT
from holdcast.answers.criticise.residuals import randomised_residuals
from holdcast.answers.criticise.trends import FALSE_ALARMS, holm
from holdcast.answers.draws.bands import BAND_90, band
from holdcast.answers.draws.draws import draws_of
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import UNREAD

__all__ = ["FEWEST_PULLS", "LOOKS", "seabed_scatter", "setting_scatter"]

FEWEST_PULLS = 8
"""Pulls of a seabed below which its scatter is not judged (a choice, no source)."""
LOOKS = ("spread", "tails")
_RANDOM_SETS = 200
_OUTSIDE = 0.1
"""Share of pulls beyond the 90% band when the model is right."""

_NUMBERS = ("ratio", "ratio_low", "ratio_high", "outside", "outside_low", "outside_high")

Numbers = NDArray[np.float64]


def seabed_scatter(fit: Fit, residuals: xr.Dataset, *, seed: int | None = None) -> xr.Dataset:
    """Return each seabed's pull scatter beside that of its residuals.

    Parameters
    ----------
    fit : Fit
        A fitted campaign.
    residuals : Dataset
        Its residuals, as from :func:`holdcast.answers.criticise.residuals.residuals`.
    seed : int, optional
        Of the random residuals; that of the residuals by default.

    Returns
    -------
    Dataset, dims (seabed, quantile, look)
        ``pull_scatter`` (seabed, quantile) [log N]: scale of the pulls' scatter, from the posterior.
        ``ratio`` (seabed) [1]: standard deviation of the residuals, 1 when the model is right, with its 90%
        interval ``ratio_low``, ``ratio_high``.  ``outside`` (seabed) [1]: share of pulls beyond the 90% band
        of their prediction; ``outside_low`` and ``outside_high``: where that share lies in nine of ten
        samples of so many pulls when the model is right.  ``p_value`` and ``p_holm`` (seabed, look) [1], two-
        sided; ``shown`` (seabed, look).  ``pulls`` (seabed).  NaN below `FEWEST_PULLS`.
    """
    # A pull of which no load was read says nothing of how loads scatter.
    loads = residuals.sel(prediction=LEFT_OUT).isel(trial=np.flatnonzero(residuals["kind"] != UNREAD))
    base_seed = int(residuals.attrs["seed"]) if seed is None else seed
    drawn = _random_sets(loads, [base_seed, 1])
    seabeds = fit.posterior["seabed"].to_numpy()
    rows = [_judged(drawn[:, loads["seabed"].to_numpy() == seabed]) for seabed in seabeds]
    numbers = np.array(rows, dtype=float).reshape(len(seabeds), -1)
    scatters = xr.Dataset(
        {name: ("seabed", numbers[:, place], {"units": "1"}) for place, name in enumerate(_NUMBERS)},
        coords={"seabed": seabeds, "look": list(LOOKS)},
    )
    p = numbers[:, len(_NUMBERS) :]
    scatters["p_value"] = (("seabed", "look"), p, {"units": "1"})
    scatters["p_holm"] = (("seabed", "look"), holm(p.ravel()).reshape(p.shape), {"units": "1"})
    scatters["shown"] = scatters["p_holm"] <= FALSE_ALARMS
    scatters["pulls"] = ("seabed", [int((loads["seabed"] == seabed).sum()) for seabed in seabeds])
    scatter = band(draws_of(fit).posterior["pull_scatter"], BAND_90)
    return scatters.assign(
        pull_scatter=scatter.assign_attrs(units="ln(re 1 N)", long_name="scale of the pull scatter")
    )


def setting_scatter(resets: xr.Dataset, veers: xr.Dataset) -> xr.Dataset:
    """Return whether the counts of resets and the loads of veers scatter as the model says.

    Parameters
    ----------
    resets, veers : Dataset
        As from :mod:`holdcast.answers.criticise.reset_veer_residuals`.

    Returns
    -------
    Dataset, dim test
        ``tests``; ``ratio`` and ``outside`` with their ends, as from :func:`seabed_scatter`; NaN below
        `FEWEST_PULLS` tests.  Only kinds of which there is a test.
    """
    both = {"resets": resets, "veers": veers}
    kinds = {name: each for name, each in both.items() if each["pit_low"].size}
    rows = [_judged(_random_sets(each, [int(each.attrs["seed"]), 4])) for each in kinds.values()]
    numbers = np.array([row[: len(_NUMBERS)] for row in rows], dtype=float).reshape(-1, len(_NUMBERS))
    columns = {name: ("test", numbers[:, place], {"units": "1"}) for place, name in enumerate(_NUMBERS)}
    tests = ("test", [each["pit_low"].size for each in kinds.values()])
    return xr.Dataset({"tests": tests, **columns}, {"test": list(kinds)})


def _random_sets(loads: xr.Dataset, seed: list[int]) -> Numbers:
    """Return many sets of random residuals, shape (set, test)."""
    low, high = (loads[end].to_numpy() for end in ("pit_low", "pit_high"))
    return randomised_residuals(low, high, _RANDOM_SETS, seed)


def _judged(drawn: Numbers) -> list[float]:
    """Return the numbers of one seabed in the order of :func:`seabed_scatter`, then both p-values."""
    pulls = drawn.shape[1]
    if pulls < FEWEST_PULLS:
        return [np.nan] * 8
    chi = stats.chi2(pulls - 1)
    squares = drawn.var(axis=1, ddof=1) * (pulls - 1)
    ratio = float(np.sqrt(squares / (pulls - 1)).mean())
    low, high = np.sqrt((pulls - 1) / chi.ppf([0.95, 0.05]))
    p_spread = float(np.minimum(2.0 * np.minimum(chi.cdf(squares), chi.sf(squares)), 1.0).mean())
    beyond = (np.abs(drawn) > stats.norm.ppf(1.0 - 0.5 * _OUTSIDE)).sum(axis=1)
    count = stats.binom(pulls, _OUTSIDE)
    # Half the chance of the number itself, so that a p-value of whole numbers is not far too careful.
    above = count.sf(beyond) + 0.5 * count.pmf(beyond)
    p_tail = float(np.minimum(2.0 * np.minimum(above, 1.0 - above), 1.0).mean())
    share, usual = float(beyond.mean() / pulls), count.ppf([0.05, 0.95]) / pulls
    return [ratio, ratio * float(low), ratio * float(high), share, *map(float, usual), p_spread, p_tail]

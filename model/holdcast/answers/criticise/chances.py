"""Whether chances come true: of tests given about 30%, three in ten ought to succeed.

Of pulls for which the log says whether the anchor set, and of attempts of resets, the predicted chance (the
test left out) is put beside the share seen, tenth by tenth of the prediction.  The interval for the share
seen is Jeffreys' (Brown, Cai & DasGupta 2001, *Stat. Sci.* 16:101, value from memory), of fewer tests than
were made: tests of one spot go together as a beta-binomial's of concentration c do, with a correlation of
1 / (c + 1), so m of them count as m / (1 + (m - 1) / (c + 1)).
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy import stats

from holdcast.answers.criticise.predictions import LEFT_OUT
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import NOT_SAID, SET

__all__ = ["ALL_TENTHS", "EVENTS", "FEWEST_TESTS", "chances_seen"]

SETS, SETS_AGAIN = "sets", "sets again"
EVENTS = (SETS, SETS_AGAIN)
"""What has a chance: that a pull's anchor sets, that an attempt of a reset succeeds."""
ALL_TENTHS = "all"
FEWEST_TESTS = 10
"""Tests below which nothing is said of how chances come true (a choice, no source)."""
TENTHS = 10

Numbers = NDArray[np.float64]


def chances_seen(fit: Fit, pulls: xr.Dataset, resets: xr.Dataset) -> xr.Dataset:
    """Return predicted chances beside what was seen.

    Parameters
    ----------
    fit : Fit
    pulls : Dataset
        Residuals of its pulls, as from :func:`holdcast.answers.criticise.residuals.residuals`.
    resets : Dataset
        Those of its resets, as from
        :func:`holdcast.answers.criticise.reset_veer_residuals.reset_residuals`.

    Returns
    -------
    Dataset, dims (event, part)
        ``part``: ``0.0`` to ``0.9``, where a tenth of the predicted chance begins, and `ALL_TENTHS`.
        ``tests``: pulls or attempts; ``predicted`` [1]: their mean chance; ``seen`` [1]: share of successes,
        with its 90% interval ``seen_low``, ``seen_high``; NaN where there is no test.  ``enough`` (event):
        whether there are `FEWEST_TESTS`.
    """
    concentration = float(np.median(fit.posterior["set_concentration"].to_numpy()))
    recorded = pulls["setting"].to_numpy() != NOT_SAID
    chance = pulls["sets"].sel(prediction=LEFT_OUT).to_numpy()[recorded]
    had_set = (pulls["setting"].to_numpy()[recorded] == SET).astype(float)
    spot = fit.inputs["spot_of"].to_numpy()[recorded]
    attempts, successes = (resets[name].to_numpy().astype(float) for name in ("attempts", "successes"))
    columns = [
        _parts(chance, had_set, np.ones(len(chance)), spot, concentration),
        _parts(resets["chance"].to_numpy(), successes, attempts, np.arange(len(attempts)), concentration),
    ]
    names = ("tests", "predicted", "seen", "seen_low", "seen_high")
    parts = [f"{tenth / TENTHS:.1f}" for tenth in range(TENTHS)] + [ALL_TENTHS]
    shares = xr.Dataset(
        {
            name: (("event", "part"), values, {"units": "1"})
            for name, values in zip(names, np.moveaxis(np.stack(columns), 2, 0), strict=True)
        },
        coords={"event": list(EVENTS), "part": parts},
    )
    shares["tests"] = shares["tests"].astype(int)
    return shares.assign(enough=shares["tests"].sel(part=ALL_TENTHS, drop=True) >= FEWEST_TESTS)


def _parts(
    chance: Numbers, successes: Numbers, tests: Numbers, group: NDArray[np.int64], concentration: float
) -> Numbers:
    """Return the numbers of each tenth and of all together, shape (part, number)."""
    tenth = np.minimum((chance * TENTHS).astype(int), TENTHS - 1)
    of_part = [*(tenth == place for place in range(TENTHS)), np.ones(len(chance), dtype=bool)]
    return np.array(
        [_one_part(chance[own], successes[own], tests[own], group[own], concentration) for own in of_part]
    )


def _one_part(
    chance: Numbers, successes: Numbers, tests: Numbers, group: NDArray[np.int64], concentration: float
) -> list[float]:
    total = float(tests.sum())
    if not total:
        return [0.0, np.nan, np.nan, np.nan, np.nan]
    together = np.bincount(np.unique(group, return_inverse=True)[1], tests)
    independent = total**2 / float((together * (1.0 + (together - 1.0) / (concentration + 1.0))).sum())
    seen = float(successes.sum()) / total
    law = stats.beta(seen * independent + 0.5, (1.0 - seen) * independent + 0.5)
    # All or none: the interval reaches the end (Brown, Cai & DasGupta 2001).
    low = 0.0 if seen == 0.0 else float(law.ppf(0.05))
    high = 1.0 if seen == 1.0 else float(law.ppf(0.95))
    return [total, float((chance * tests).sum()) / total, seen, low, high]

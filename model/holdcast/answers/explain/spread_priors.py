"""How wide one cell's band would be had each spread's prior median been half or twice what it was.

Power-scaling a log-normal prior leaves its median where it is, so it cannot show that a spread was taken from
the prior: of a log in which no seabed was visited twice nothing tells the visits' spread.  Moving the median
can, and takes importance weights only (prior with the moved median over prior as it was, smoothed as in
:mod:`holdcast.answers.explain.influence`).
"""

import numpy as np
import xarray as xr
from arviz_stats.base import array_stats
from scipy import stats

from holdcast.answers.draws.bands import BAND_90
from holdcast.answers.draws.draws import Draws, Floats, draws_of
from holdcast.answers.draws.provenance import about
from holdcast.answers.explain.influence import TRUSTED_K, cell_draws, weighted_quantiles
from holdcast.capacity.fitting import Fit

__all__ = ["FACTORS", "SPREADS", "spread_priors"]

SPREADS = (
    "ground_spread",
    "form_spread",
    "form_seabed_spread",
    "feature_seabed_spread",
    "design_spread",
    "visit_spread",
    "spot_spread",
    "pull_scatter_typical",
)
"""Spreads with a log-normal prior; those that a fit does not have are passed over."""
FACTORS = (0.5, 2.0)
"""On the prior's median."""


def spread_priors(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Return how a cell's band depends on the prior median of each spread.

    Returns
    -------
    Dataset, dims (spread, factor)
        ``width`` [1]: the log width of the 90% band over that of the fit; NaN where ``pareto_k`` is above
        `TRUSTED_K`, since too few draws would tell it.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    draws = draws_of(fit)
    cell = cell_draws(fit, anchor, seabed).to_numpy()
    names = [name for name in SPREADS if "median" in draws.priors.get(name, {}) and name in draws]
    answers = [[_width(draws, cell, name, factor) for factor in FACTORS] for name in names]
    width, pareto_k = np.moveaxis(np.array(answers, dtype=float).reshape(-1, len(FACTORS), 2), -1, 0)
    dims = ("spread", "factor")
    return xr.Dataset(
        {
            "width": (dims, np.where(pareto_k <= TRUSTED_K, width, np.nan), about("1", "width of the band")),
            "pareto_k": (dims, pareto_k, about("1", "Pareto k of the weights")),
        },
        {"spread": names, "factor": list(FACTORS)},
    )


def _width(draws: Draws, cell: Floats, name: str, factor: float) -> tuple[float, float]:
    """Return the band's width over what it is, and the Pareto shape of the weights."""
    prior, values = draws.priors[name], draws[name]
    moved, used = (
        stats.lognorm(prior["log_sd"], scale=median).logpdf(values)
        for median in (factor * prior["median"], prior["median"])
    )
    # The library takes the log density that is to be removed, and turns its sign itself.
    log_weight, pareto_k = array_stats.psislw(used - moved)
    even = np.full(cell.shape, 1.0 / len(cell))
    (low, _, high), (low_now, _, high_now) = (
        weighted_quantiles(cell, weight, BAND_90) for weight in (np.exp(log_weight), even)
    )
    return (high - low) / (high_now - low_now), float(pareto_k)

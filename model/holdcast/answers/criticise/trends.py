"""Whether residuals go with anything that was written down: a slope, or a bow.

Each look is a rank correlation.  With u the ranks of the covariate and q what is left of u² beside 1 and u,
all scaled to variance 1, the ranks of the residuals are regressed on 1, u and q: the coefficient of u is
Spearman's ρ, that of q the same for a curve that is high or low in the middle.  Their errors respect visits
and anchors, see :mod:`holdcast.answers.criticise.clustered_regression`.  Ranks are those of random residuals,
averaged over many draws: ranks of mean residuals would go with the expected load wherever a boat's limit cuts
the large loads.

Many looks find something by chance alone.  The smallest p-values are therefore multiplied up (Holm 1979,
*Scand. J. Stat.* 6:65, value from memory): were the model right, at most one log in twenty would show any
trend at all.  A trend that is not shown may still be there.
"""

from typing import NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.stats import rankdata

from holdcast.answers.criticise.clustered_regression import clustered_line, local_line
from holdcast.answers.criticise.covariates import COVARIATES
from holdcast.answers.criticise.predictions import LEFT_OUT, NEW_DESIGN, NEW_VISIT
from holdcast.answers.criticise.residuals import randomised_residuals

__all__ = ["FALSE_ALARMS", "SHAPES", "holm", "residual_trends", "smooth_residuals"]

FALSE_ALARMS = 0.05
"""Share of logs of a right model in which any trend at all is shown, at most (a choice, no source)."""
SHAPES = ("slope", "bow")
_FEWEST_PULLS, _FEWEST_CLUSTERS = 20, 6
"""Below these nothing can be said of a trend: the jackknife of five clusters is hardly an error bar (a
choice, no source)."""
_FEWEST_VALUES = {"slope": 2, "bow": 3}
_ENDS = (0.1, 0.9)
_PLACES = 25
_RANDOM_SETS = 100
_SMOOTH_WIDTH = 0.2
"""Width of the smooth as a share of the covariate's range (a choice, no source)."""

Numbers = NDArray[np.float64]


class _Look(NamedTuple):
    """One covariate where known: values, mean ranks, residuals, clusters, and why it is skipped, if so."""

    prediction: str
    has_value: NDArray[np.bool_]
    across: Numbers
    ranks: Numbers
    residual: Numbers
    log_residual: Numbers
    clusters: tuple[NDArray[np.int64], NDArray[np.int64]]
    skipped: str


def residual_trends(residuals: xr.Dataset, against: xr.DataArray) -> xr.Dataset:
    """Return the slope and the bow of residuals against each covariate.

    Parameters
    ----------
    residuals : Dataset
        As from :func:`holdcast.answers.criticise.residuals.residuals`.
    against : DataArray, dims (trial, covariate)
        As from :func:`holdcast.answers.criticise.covariates.covariates`.

    Returns
    -------
    Dataset, dims (covariate, shape)
        ``correlation`` [1], of ranks, with ``correlation_low``, ``correlation_high`` (90% interval);
        ``factor`` [1]: load over what the model expects, at the 90th percentile of the covariate over that at
        the 10th (slope), or in the middle over the mean of both ends (bow), with ``factor_low``,
        ``factor_high`` (90%); ``p_value`` and ``p_holm`` [1]; ``shown``: whether p_holm is at most
        `FALSE_ALARMS`.  By covariate: ``prediction``, ``pulls``, ``clusters`` (of the rarer kind),
        ``at_low``, ``at_high`` (its percentiles, on its own scale) and ``skipped``: why it was not looked at,
        or blank.
    """
    looks = [_look(residuals, against.sel(covariate=name)) for name in against["covariate"].to_numpy()]
    numbers = np.full((len(_NUMBERS), len(looks), len(SHAPES)), np.nan)
    for place, look in enumerate(looks):
        for number, shape in enumerate(SHAPES):
            if not look.skipped and len(np.unique(look.across)) >= _FEWEST_VALUES[shape]:
                numbers[:, place, number] = _numbers(look, shape)
    dims = ("covariate", "shape")
    trends = xr.Dataset(
        {name: (dims, values, {"units": "1"}) for name, values in zip(_NUMBERS, numbers, strict=True)},
        coords={"covariate": against["covariate"], "shape": list(SHAPES)},
    )
    p = trends["p_value"].to_numpy()
    trends["p_holm"] = (dims, holm(p.ravel()).reshape(p.shape), {"units": "1"})
    trends["shown"] = trends["p_holm"] <= FALSE_ALARMS
    ends = [_ends(look) for look in looks]
    return trends.assign(
        prediction=("covariate", [look.prediction for look in looks]),
        pulls=("covariate", [int(look.has_value.sum()) for look in looks]),
        clusters=("covariate", [_fewest(look) for look in looks]),
        at_low=("covariate", [low for low, _ in ends]),
        at_high=("covariate", [high for _, high in ends]),
        skipped=("covariate", [look.skipped for look in looks]),
    )


_NUMBERS = (
    "correlation",
    "correlation_low",
    "correlation_high",
    "factor",
    "factor_low",
    "factor_high",
    "p_value",
)


def smooth_residuals(residuals: xr.Dataset, against: xr.DataArray) -> xr.Dataset:
    """Return a smooth of the mean residuals against each covariate, with a band at each place.

    Returns
    -------
    Dataset, dims (covariate, place)
        ``across``: where, on the scale of the covariate; ``middle``, ``low``, ``high`` [1]: the curve and its
        90% band, place by place.  NaN for a covariate that is not looked at.
    """
    names = against["covariate"].to_numpy()
    curves = np.full((4, len(names), _PLACES), np.nan)
    for number, name in enumerate(names):
        look = _look(residuals, against.sel(covariate=name))
        if look.skipped:
            continue
        ends = np.quantile(look.across, [0.02, 0.98])
        places = np.linspace(ends[0], ends[1], _PLACES)
        width = max(_SMOOTH_WIDTH * (ends[1] - ends[0]), 1e-9)
        curve = local_line(places, look.across, look.residual, width, look.clusters)
        bands = [point.band() for point in curve]
        curves[:, number] = [places, [point.value for point in curve], *zip(*bands, strict=True)]
    parts = dict(zip(("across", "middle", "low", "high"), curves, strict=True))
    return xr.Dataset(
        {name: (("covariate", "place"), values) for name, values in parts.items()},
        coords={"covariate": names},
    )


def holm(p_values: Numbers) -> Numbers:
    """Return p-values adjusted for how many were looked at; NaN where there was no look.

    Parameters
    ----------
    p_values : array, shape (look,)
        Each look's own.
    """
    adjusted = np.full(len(p_values), np.nan)
    looked = np.flatnonzero(~np.isnan(p_values))
    order = looked[np.argsort(p_values[looked], kind="stable")]
    factors = len(order) - np.arange(len(order))
    adjusted[order] = np.minimum(np.maximum.accumulate(p_values[order] * factors), 1.0)
    return adjusted


def _look(residuals: xr.Dataset, values: xr.DataArray) -> _Look:
    across, seed = values.to_numpy(), int(residuals.attrs["seed"])
    has_value = ~np.isnan(across)
    name = str(values["covariate"].item())
    declared = next((each.prediction for each in COVARIATES if each.name == name), "")
    measured = residuals.isel(trial=has_value)
    prediction = declared or _where_it_varies(across[has_value], measured)
    predicted = measured.sel(prediction=prediction)
    residual = predicted["mean_residual"].to_numpy()
    # All configurations of a design share its effect, which a new design's residual has in it.
    kinds = ("visit", "design" if prediction == NEW_DESIGN else "anchor")
    visit, anchor = (np.unique(measured[kind].to_numpy(), return_inverse=True)[1] for kind in kinds)
    look = _Look(
        prediction,
        has_value,
        across[has_value],
        _mean_ranks(predicted["pit_low"].to_numpy(), predicted["pit_high"].to_numpy(), seed),
        residual,
        residual * predicted["spread"].to_numpy(),
        (visit.astype(np.int64), anchor.astype(np.int64)),
        "",
    )
    return look._replace(skipped=_why_not(look))


def _mean_ranks(low: Numbers, high: Numbers, seed: int) -> Numbers:
    """Return the ranks of random residuals, each set with mean 0 and variance 1, averaged over sets."""
    if not len(low):
        return low
    drawn = randomised_residuals(low, high, _RANDOM_SETS, [seed, 2])
    ranks = rankdata(drawn, axis=1)
    ranks = ranks - ranks.mean(axis=1, keepdims=True)
    spread = np.maximum(ranks.std(axis=1, keepdims=True), 1e-9)
    return np.asarray((ranks / spread).mean(axis=0))


def _why_not(look: _Look) -> str:
    if not look.has_value.any():
        return "not measured"
    if look.has_value.sum() < _FEWEST_PULLS:
        return f"known for fewer than {_FEWEST_PULLS} pulls"
    if len(np.unique(look.across)) < _FEWEST_VALUES["slope"]:
        return "the same for every pull"
    if _fewest(look) < _FEWEST_CLUSTERS:
        return f"fewer than {_FEWEST_CLUSTERS} visits or anchors"
    return ""


def _fewest(look: _Look) -> int:
    return min(len(np.unique(kind)) for kind in look.clusters)


def _where_it_varies(across: Numbers, measured: xr.Dataset) -> str:
    """Return the prediction whose residuals can show a trend: a new visit's, where visits differ most.

    The share of the variance between visits is adjusted for their number, as an adjusted R² is.
    """
    visit = np.unique(measured["visit"].to_numpy(), return_inverse=True)[1]
    free = len(across) - len(np.unique(visit))
    if free <= 0 or np.ptp(across) == 0.0:
        return LEFT_OUT
    means = np.bincount(visit, across) / np.bincount(visit)
    within = float(np.var(across - means[visit]) / np.var(across)) * (len(across) - 1) / free
    return NEW_VISIT if within < 0.5 else LEFT_OUT


def _numbers(look: _Look, shape: str) -> list[float]:
    """Return correlation and factor with their intervals and the p-value, in the order of `_NUMBERS`."""
    slope, bow = _curves(look.across)
    columns = np.stack([np.ones_like(slope), slope, bow], axis=1)
    number = 1 + SHAPES.index(shape)
    contrast = np.eye(3)[number]
    correlation = clustered_line(columns, look.ranks, contrast, look.clusters)
    low, high = (_at(look.across, columns[:, number], end) for end in _ends(look))
    middle = _at(look.across, columns[:, number], float(np.median(look.across)))
    difference = high - low if shape == "slope" else middle - 0.5 * (low + high)
    factor = clustered_line(columns, look.log_residual, difference * contrast, look.clusters)
    ends = np.exp([factor.value, *factor.band()])
    return [correlation.value, *np.clip(correlation.band(), -1.0, 1.0), *ends, correlation.p_value]


def _at(across: Numbers, column: Numbers, place: float) -> float:
    """Return a column's value at a place between two values of the covariate."""
    values, first = np.unique(across, return_index=True)
    return float(np.interp(place, values, column[first]))


def _ends(look: _Look) -> tuple[float, float]:
    if not len(look.across):
        return np.nan, np.nan
    low, high = np.quantile(look.across, _ENDS)
    return float(low), float(high)


def _curves(across: Numbers) -> tuple[Numbers, Numbers]:
    """Return the ranks of a covariate and what is left of their square, each with mean 0 and variance 1."""
    slope = _standard(rankdata(across))
    square = slope**2 - 1.0
    return slope, _standard(square - np.mean(square * slope) * slope)


def _standard(values: Numbers) -> Numbers:
    spread = float(values.std())
    return (values - values.mean()) / spread if spread > 1e-9 else np.zeros_like(values)

"""What is known of a measurement that was not made: a normal distribution from the anchors that have it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Predictive", "fill_in"]

_PRIOR_WEIGHT = 2.0
"""Anchors' worth of weight on the prior mean and spread (a choice)."""
_FORM_SPREAD = 0.2
"""Spread of the forms' means of a log measurement about the mean of all (a choice)."""


@dataclass(frozen=True)
class Predictive:
    """Mean and spread of each anchor's value; the spread is 0 where it was measured.

    Attributes
    ----------
    mean, sd : arrays, shape (anchor,)
        Of the log measurement, in its own unit.
    """

    mean: NDArray[np.float64]
    sd: NDArray[np.float64]


def fill_in(
    values: NDArray[np.float64], forms: NDArray[np.str_], prior_mean: float, prior_sd: float
) -> Predictive:
    """Return measured values with spread 0, and for missing ones what like anchors suggest.

    A normal model: the forms' means are spread about a common mean, anchors about their form's mean.  Both
    spreads and the common mean are pulled towards the prior by two anchors' worth of weight; the uncertainty
    of the form's mean is added to the spread.

    Parameters
    ----------
    values : array, shape (anchor,)
        Log measurements; NaN where missing.
    forms : array of str, shape (anchor,)
        Form of each anchor.
    prior_mean, prior_sd : float
        What the trade has seen of such a measurement, on the log scale.

    Returns
    -------
    Predictive
        A missing value's mean and spread never depend on how the anchor pulled.

    Notes
    -----
    Conjugate normal shrinkage, e.g. Gelman et al., *Bayesian Data Analysis*, 3rd ed., section 2.5 and 3.3
    (value from memory).
    """
    known = ~np.isnan(values)
    mean, sd = values.copy(), np.zeros_like(values)
    total = known.sum() + _PRIOR_WEIGHT
    common = (np.nansum(values) + _PRIOR_WEIGHT * prior_mean) / total
    within = _pooled_spread(values, forms, known, prior_sd)
    for form in np.unique(forms[~known]):
        inside = known & (forms == form)
        # Precision-weighted: the form's own anchors against what forms in general suggest.
        own, general = inside.sum() / within**2, 1.0 / (_FORM_SPREAD**2 + within**2 / total)
        form_mean = (values[inside].sum() / within**2 + common * general) / (own + general)
        here = ~known & (forms == form)
        mean[here] = form_mean
        sd[here] = np.sqrt(within**2 + 1.0 / (own + general))
    return Predictive(mean, sd)


def _pooled_spread(
    values: NDArray[np.float64], forms: NDArray[np.str_], known: NDArray[np.bool_], prior_sd: float
) -> float:
    squares, freedom = _PRIOR_WEIGHT * prior_sd**2, _PRIOR_WEIGHT
    for form in np.unique(forms[known]):
        inside = values[known & (forms == form)]
        squares += float(((inside - inside.mean()) ** 2).sum())
        freedom += len(inside) - 1
    return float(np.sqrt(squares / freedom))

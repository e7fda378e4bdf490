"""What is known of a measurement that was not made: a normal distribution from the anchors that have it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Predictive", "fill_in"]

_PRIOR_WEIGHT = 2.0
"""Anchors' worth of weight on the prior mean and spreads (a choice)."""
_FORM_SPREAD = 0.2
"""Spread of the forms' means of a log measurement about the mean of all (a choice)."""
_SAME_DESIGN_SPREAD = 0.1
"""Spread of the sizes of one design about their mean, before any was measured.  One shape, scaled, would not
differ at all; castings, shackles and bolted parts do (common practice, no source)."""


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
    values: NDArray[np.float64],
    designs: NDArray[np.str_],
    forms: NDArray[np.str_],
    prior_mean: float,
    prior_sd: float,
) -> Predictive:
    """Return measured values with spread 0, and for missing ones what like anchors suggest.

    A normal model: forms are spread about a common mean, designs about their form, anchors about their
    design.  So another size of the same design tells most, another design of the form less.  Spreads of
    designs and anchors and the common mean are pulled towards the prior by two anchors' worth of weight.

    Parameters
    ----------
    values : array, shape (anchor,)
        Log of a measurement that does not change when a shape is scaled; NaN where missing.
    designs, forms : arrays of str, shape (anchor,)
        Of each anchor.
    prior_mean, prior_sd : float
        What the trade has seen of such a measurement, on the log scale.

    Returns
    -------
    Predictive
        A missing value's mean and spread never depend on how the anchor pulled.

    Notes
    -----
    Conditional of a joint normal (an identity); the spreads by conjugate shrinkage, e.g. Gelman et al.,
    *Bayesian Data Analysis*, 3rd ed., section 2.6 (value from memory).
    """
    measured = ~np.isnan(values)
    mean, sd = values.copy(), np.zeros_like(values)
    if measured.all():
        return Predictive(mean, sd)
    covariance = _covariance(values, designs, forms, prior_sd)
    across = covariance[np.ix_(~measured, measured)]
    weights = np.linalg.solve(covariance[np.ix_(measured, measured)], across.T).T
    mean[~measured] = prior_mean + weights @ (values[measured] - prior_mean)
    sd[~measured] = np.sqrt(np.diagonal(covariance)[~measured] - (weights * across).sum(axis=1))
    return Predictive(mean, sd)


def _covariance(
    values: NDArray[np.float64], designs: NDArray[np.str_], forms: NDArray[np.str_], prior_sd: float
) -> NDArray[np.float64]:
    """Return how values vary together before any is known, shape (anchor, anchor)."""
    within_design = _pooled_variance(values, designs, _SAME_DESIGN_SPREAD)
    # Ten sizes of one design tell once how designs differ; and a design differs by its sizes at least.
    means, forms_of_means = _design_means(values, designs, forms)
    within_form = max(_pooled_variance(means, forms_of_means, prior_sd), within_design)
    covariance = within_form / _PRIOR_WEIGHT + _FORM_SPREAD**2 * (forms[:, None] == forms)
    covariance = covariance + (within_form - within_design) * (designs[:, None] == designs)
    return np.asarray(covariance + within_design * np.eye(len(values)), dtype=np.float64)


def _design_means(
    values: NDArray[np.float64], designs: NDArray[np.str_], forms: NDArray[np.str_]
) -> tuple[NDArray[np.float64], NDArray[np.str_]]:
    """Return the mean of each design's measured values, and its form, that of its first measured anchor."""
    measured = ~np.isnan(values)
    names, first, member = np.unique(designs[measured], return_index=True, return_inverse=True)
    means = np.bincount(member, values[measured], len(names)) / np.bincount(member, minlength=len(names))
    return means, forms[measured][first]


def _pooled_variance(values: NDArray[np.float64], groups: NDArray[np.str_], prior_sd: float) -> float:
    """Return the variance of values within groups, a little of it the prior's."""
    squares, freedom = _PRIOR_WEIGHT * prior_sd**2, _PRIOR_WEIGHT
    for group in np.unique(groups[~np.isnan(values)]):
        inside = values[(groups == group) & ~np.isnan(values)]
        squares += float(((inside - inside.mean()) ** 2).sum())
        freedom += len(inside) - 1
    return squares / freedom

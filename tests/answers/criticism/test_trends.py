"""Trends against scipy and statsmodels; a planted one is found and named; false alarms stay near nominal."""

from collections.abc import Callable

import numpy as np
import pytest
import statsmodels.api as sm
import xarray as xr
from scipy import stats
from statsmodels.stats.multitest import multipletests

from holdcast.answers.criticise.clustered_regression import clustered_line, local_line
from holdcast.answers.criticise.covariates import covariates
from holdcast.answers.criticise.predictions import LEFT_OUT, NEW_DESIGN, NEW_VISIT, PREDICTIONS
from holdcast.answers.criticise.residuals import mean_normal_between, residuals
from holdcast.answers.criticise.scatter import seabed_scatter
from holdcast.answers.criticise.trends import FALSE_ALARMS, holm, residual_trends, smooth_residuals
from holdcast.capacity.fitting import Fit
from holdcast.show.views.criticise.sentences import Criticism, criticism_sentences

RNG = np.random.default_rng


def log_of(
    residual: np.ndarray, visit_of: np.ndarray, anchor_of: np.ndarray, limit: np.ndarray | None = None
) -> xr.Dataset:
    """Residuals by hand, the same for all predictions; those above a limit are known to be above it."""
    low = residual if limit is None else np.minimum(residual, limit)
    high = residual if limit is None else np.where(residual > limit, np.inf, residual)
    residual = mean_normal_between(stats.norm.cdf(low), stats.norm.cdf(high))
    dims, shape = ("trial", "prediction"), (len(residual), len(PREDICTIONS))
    return xr.Dataset(
        {
            "mean_residual": (dims, np.broadcast_to(residual[:, None], shape)),
            "spread": (dims, np.full(shape, 0.3)),
            "pit_low": (dims, np.broadcast_to(stats.norm.cdf(low)[:, None], shape)),
            "pit_high": (dims, np.broadcast_to(stats.norm.cdf(high)[:, None], shape)),
        },
        coords={
            "trial": np.arange(len(residual)),
            "prediction": list(PREDICTIONS),
            "visit": ("trial", visit_of),
            "anchor": ("trial", anchor_of),
            "design": ("trial", anchor_of),
        },
        attrs={"seed": 1},
    )


def against(**columns: np.ndarray) -> xr.DataArray:
    return xr.DataArray(
        np.stack(list(columns.values()), axis=1),
        dims=("trial", "covariate"),
        coords={
            "covariate": list(columns),
            "unit": ("covariate", ["1"] * len(columns)),
            "more": ("covariate", ["with more"] * len(columns)),
            "logarithmic": ("covariate", [False] * len(columns)),
        },
    )


def crossed(visits: int = 16, anchors: int = 8, pulls: int = 2) -> tuple[np.ndarray, np.ndarray]:
    visit_of, anchor_of, _ = np.indices((visits, anchors, pulls)).reshape(3, -1)
    return visit_of, anchor_of


def test_slope_is_spearmans_correlation() -> None:
    visit_of, anchor_of = crossed()
    across = RNG(1).choice([3.0, 4.0, 5.0, 7.0], len(visit_of))  # with ties
    residual = RNG(2).standard_normal(len(visit_of)) + 0.1 * across
    trends = residual_trends(log_of(residual, visit_of, anchor_of), against(scope=across))
    expected = stats.spearmanr(across, residual).statistic
    assert float(trends["correlation"].sel(covariate="scope", shape="slope")) == pytest.approx(
        expected, abs=1e-12
    )


def test_false_alarms_stay_near_nominal_where_visits_differ() -> None:
    """100 logs with a visit effect and a scope for each visit: what counts pulls as independent fails."""
    visit_of, anchor_of = crossed()
    rng, alarms, naive = RNG(3), 0, 0
    for _ in range(100):
        visit, anchor = 0.6 * rng.standard_normal(16), 0.3 * rng.standard_normal(8)
        residual = visit[visit_of] + anchor[anchor_of] + 0.7 * rng.standard_normal(len(visit_of))
        scope, load = rng.uniform(3, 8, 16)[visit_of], rng.standard_normal(len(visit_of))
        trends = residual_trends(
            log_of(residual, visit_of, anchor_of), against(scope=scope, **{"expected load": load})
        )
        alarms += bool(trends["shown"].any())
        naive += stats.spearmanr(scope, residual).pvalue < FALSE_ALARMS
    assert alarms <= 12  # a chance of 0.2% to exceed were the rate 5%
    assert naive > 25


def test_a_limit_of_the_boat_makes_no_trend_with_the_expected_load() -> None:
    """Where large loads are open above, ranks of mean residuals go with them; ranks of random ones do not."""
    visit_of, anchor_of = crossed()
    rng, of_random, of_means = RNG(15), [], []
    for _ in range(40):
        load, residual = rng.standard_normal((2, 256))
        found = log_of(residual, visit_of, anchor_of, limit=np.where(load > 0.0, -0.8, 9.0))
        trends = residual_trends(found, against(**{"expected load": load}))
        of_random.append(float(trends["correlation"].sel(shape="slope").item()))
        of_means.append(stats.spearmanr(load, found["mean_residual"].isel(prediction=0)).statistic)
    assert abs(np.mean(of_random)) < 0.03  # 3 standard errors of 40 correlations of 256 pulls
    assert np.mean(of_means) - np.mean(of_random) > 0.03


def test_a_planted_trend_with_scope_is_found_and_named(world: Callable[..., Fit]) -> None:
    fit = world(5, scope_exponent=0.9)
    found = residuals(fit)
    given = covariates(fit, found)
    trends = residual_trends(found, given)
    scope = trends.sel(covariate="scope", shape="slope")
    assert scope["prediction"].item() == NEW_VISIT and bool(scope["shown"])
    # Truth: (8 / 3)^0.9 = 2.4 from the lowest to the highest scope of the choice.
    assert float(scope["factor_low"]) < (8 / 3) ** 0.9 < 1.3 * float(scope["factor_high"])
    assert not bool(trends["shown"].sel(covariate="mass").any())
    answer = Criticism(found, given, trends, smooth_residuals(found, given), seabed_scatter(fit, found))
    sentences = criticism_sentences(answer)
    named = [
        text for text in sentences if text.startswith("Pulls with a longer scope held more than the model")
    ]
    assert len(named) == 1 and "from the 10th to the 90th percentile of scope (90% interval +" in named[0]
    assert any("may still be chance" in text for text in sentences)


def test_nothing_planted_nothing_found(known_fit: Fit, found: xr.Dataset) -> None:
    given = covariates(known_fit, found)
    trends = residual_trends(found, given)
    assert not trends["shown"].any()
    skipped = dict(
        zip(trends["covariate"].to_numpy().tolist(), trends["skipped"].to_numpy().tolist(), strict=True)
    )
    assert skipped["tip load"] == "not measured" and skipped["mass"] == ""
    predictions = trends["prediction"].to_series()
    assert predictions["mass"] == NEW_DESIGN and predictions["date"] == NEW_VISIT
    assert predictions["expected load"] == LEFT_OUT


def test_a_bow_is_seen_though_it_has_no_slope() -> None:
    visit_of, anchor_of = crossed()
    across = RNG(6).permutation(np.linspace(-1, 1, len(visit_of)))
    residual = 0.5 - 1.5 * across**2 + 0.7 * RNG(7).standard_normal(len(visit_of))
    found = log_of(residual, visit_of, anchor_of)
    trends = residual_trends(found, against(scope=across))
    assert trends["shown"].to_numpy().tolist() == [[False, True]]
    assert float(trends["factor_low"].sel(covariate="scope", shape="bow")) > 1.0  # the middle held more
    curve = smooth_residuals(found, against(scope=across)).sel(covariate="scope")
    assert float(curve["middle"][12]) > 0.2 > float(curve["middle"][0])
    assert (curve["low"] < curve["high"]).all()


@pytest.mark.parametrize(
    ("across", "pulls", "why"),
    [
        (np.full(256, np.nan), 256, "not measured"),
        (np.full(256, 5.0), 256, "the same for every pull"),
        (np.r_[np.arange(19.0), np.full(237, np.nan)], 256, "known for fewer than 20 pulls"),
        (np.r_[np.arange(64.0), np.full(192, np.nan)], 256, "fewer than 6 visits or anchors"),
    ],
)
def test_what_cannot_be_looked_at_says_why(across: np.ndarray, pulls: int, why: str) -> None:
    visit_of, anchor_of = crossed()
    found = log_of(RNG(8).standard_normal(pulls), visit_of, anchor_of)
    trends = residual_trends(found, against(scope=across))
    assert trends["skipped"].item() == why
    assert np.isnan(trends["p_value"]).all() and not trends["shown"].any()


def test_two_values_have_a_slope_but_no_bow() -> None:
    visit_of, anchor_of = crossed()
    found = log_of(RNG(9).standard_normal(256), visit_of, anchor_of)
    p = residual_trends(found, against(scope=(anchor_of % 2).astype(float)))["p_value"].to_numpy()[0]
    assert np.isfinite(p).tolist() == [True, False]


def test_holm_agrees_with_statsmodels() -> None:
    p = np.array([0.01, 0.2, np.nan, 0.012, 0.9, 0.03])
    known = ~np.isnan(p)
    adjusted = holm(p)
    assert np.isnan(adjusted[2])
    assert np.allclose(adjusted[known], multipletests(p[known], method="holm")[1])


def test_error_with_every_row_its_own_cluster_is_that_of_statsmodels() -> None:
    columns = sm.add_constant(RNG(10).standard_normal((40, 2)))
    response = RNG(11).standard_normal(40) * (1.0 + columns[:, 1] ** 2)
    made = clustered_line(columns, response, np.array([0.0, 1.0, 0.0]), [np.arange(40)])
    reference = sm.OLS(response, columns).fit(cov_type="HC3")
    assert made.value == pytest.approx(reference.params[1], abs=1e-10)
    assert made.error == pytest.approx(reference.bse[1] * np.sqrt(39 / 40), rel=1e-8)
    assert made.freedom == 39


def test_two_kinds_of_clusters_add_up() -> None:
    visit_of, anchor_of = crossed(6, 5, 3)
    rng = RNG(12)
    columns = sm.add_constant(rng.standard_normal(90))
    response = rng.standard_normal(6)[visit_of] + rng.standard_normal(5)[anchor_of] + rng.standard_normal(90)

    def variance(cluster: np.ndarray) -> float:
        full = np.linalg.lstsq(columns, response)[0][1]
        without = [
            np.linalg.lstsq(columns[cluster != c], response[cluster != c])[0][1] for c in np.unique(cluster)
        ]
        return (len(without) - 1) / len(without) * float(((np.array(without) - full) ** 2).sum())

    parts = [variance(cluster) for cluster in (visit_of, anchor_of, 5 * visit_of + anchor_of)]
    expected = max(parts[0], parts[1], parts[0] + parts[1] - parts[2])
    made = clustered_line(columns, response, np.array([0.0, 1.0]), [visit_of, anchor_of])
    assert made.error == pytest.approx(np.sqrt(expected), rel=1e-8)
    assert made.freedom == 4
    assert made.p_value == pytest.approx(2 * stats.t.sf(abs(made.value) / made.error, 4))
    low, high = made.band()
    assert stats.t.cdf((high - made.value) / made.error, 4) == pytest.approx(0.95) and low < high


def test_one_cluster_is_refused() -> None:
    with pytest.raises(ValueError, match="each with at least 2 clusters"):
        clustered_line(np.ones((4, 1)), np.arange(4.0), np.ones(1), [np.zeros(4, dtype=int)])


def test_smooth_is_a_weighted_line_at_each_place() -> None:
    across, response = RNG(13).uniform(0, 10, 60), RNG(14).standard_normal(60)
    cluster = np.arange(60) % 12
    made = local_line(np.array([4.0]), across, response, 1.5, [cluster])[0]
    weight = np.exp(-0.5 * ((across - 4.0) / 1.5) ** 2)
    # polyfit weights residuals, not squares
    _, height = np.polyfit(across - 4.0, response, 1, w=np.sqrt(weight))
    assert made.value == pytest.approx(height, abs=1e-8)
    exact = local_line(np.array([2.0, 7.0]), across, 3.0 - 0.5 * across, 1.5, [cluster])
    assert [point.value for point in exact] == pytest.approx([2.0, -0.5], abs=1e-6)

"""Scores against closed forms: scipy's t distribution, and predictions known to be calibrated."""

from collections.abc import Callable

import numpy as np
import pytest
import statsmodels.api as sm
import xarray as xr
from scipy import stats

from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT
from holdcast.evaluate.leave_out import groups_of, leave_out
from holdcast.evaluate.scoring import band_share, pull_scores
from holdcast.evaluate.summary import clustered_error, crossed_error, summarise

Draws = Callable[..., xr.Dataset]


def test_log_score_is_the_probability_of_the_interval(inputs: xr.Dataset, draws: Draws) -> None:
    """Reference: scipy.stats.t with 4 degrees of freedom."""
    trials = np.arange(inputs.sizes["trial"])
    found = pull_scores(draws(7.3, 0.2), inputs, trials, seed=1)
    law = stats.t(4.0, 7.3, 0.2)
    kind, low, high = (inputs[name].to_numpy() for name in ("kind", "lower", "upper"))
    assert set(kind) == {EXACT, BELOW, ABOVE, BETWEEN}
    expected = np.select(
        [kind == EXACT, kind == BELOW, kind == ABOVE],
        [law.logpdf(high), law.logcdf(high), law.logsf(low)],
        np.log(np.where(kind == BETWEEN, law.cdf(high) - law.cdf(low), 1.0)),
    )
    assert np.allclose(found["log_score"], expected, atol=1e-6)
    assert np.allclose(found["below"], np.where(kind == BELOW, 0.0, law.cdf(low)), atol=1e-9)
    assert np.allclose(found["upto"], np.where(kind == ABOVE, 1.0, law.cdf(high)), atol=1e-9)
    assert np.all((found["pit"] >= found["below"]) & (found["pit"] <= found["upto"]))


def test_miss_is_nought_inside_and_the_log_distance_outside(inputs: xr.Dataset, draws: Draws) -> None:
    trials = np.flatnonzero(inputs["kind"].to_numpy() == EXACT)
    found = pull_scores(draws(7.3, 1e-6), inputs, trials, seed=1)
    assert np.allclose(found["miss"], np.abs(inputs["upper"].to_numpy()[trials] - 7.3), atol=1e-4)


def test_width_of_a_pulls_band(inputs: xr.Dataset, draws: Draws) -> None:
    """Reference: 2 · 2.131847 scales, the 95% point of t with 4 degrees of freedom (scipy)."""
    found = pull_scores(draws(7.3, 0.2, count=20_000), inputs, np.arange(3), seed=1)
    assert np.allclose(found["width_90"], 2.0 * 0.2 * stats.t(4.0).ppf(0.95), rtol=0.05)
    assert np.allclose(found["capacity_width_90"], 0.0)


@pytest.mark.parametrize("band", [0.5, 0.9])
def test_coverage_of_intervals_is_nominal_when_calibrated(band: float) -> None:
    """A truth of the predicted law, read in steps and with a limit: mean share is the band's probability."""
    load = np.random.default_rng(1).standard_normal(200_000)
    steps = np.array([-np.inf, -1.3, -0.2, 0.1, 0.7, 1.1, np.inf])
    place = np.searchsorted(steps, load)
    below, upto = stats.norm.cdf(steps[place - 1]), stats.norm.cdf(steps[place])
    share = band_share(below, upto, 0.5 - band / 2.0, 0.5 + band / 2.0)
    assert share.mean() == pytest.approx(band, abs=0.005)
    assert band_share(below, np.minimum(upto + 0.2, 1.0), 0.0, 0.1).mean() != pytest.approx(0.1, abs=0.005)


def test_errors_grow_when_pulls_hang_together() -> None:
    """Closed forms: independent values give sd / √n; pairs of equal values give that of half as many."""
    values = np.random.default_rng(2).standard_normal(500)
    alone = clustered_error(values, np.arange(500))
    assert alone == pytest.approx(values.std(ddof=1) / np.sqrt(500), rel=1e-9)
    doubled = clustered_error(np.repeat(values, 2), np.repeat(np.arange(500), 2))
    assert doubled == pytest.approx(alone, rel=1e-9)
    assert np.isnan(clustered_error(values, np.zeros(500)))


def test_errors_of_two_crossing_ways_are_a_regression_packages() -> None:
    """Reference: statsmodels' least squares with two-way clusters, of a mean."""
    chance = np.random.default_rng(4)
    first, second = chance.integers(0, 9, 300), chance.integers(0, 14, 300)
    values = chance.normal(size=9)[first] + chance.normal(size=14)[second] + chance.normal(size=300)
    found = crossed_error(values, first, second, np.arange(300))
    groups = np.stack([first, second], axis=1)
    line = sm.OLS(values, np.ones(300)).fit(cov_type="cluster", cov_kwds={"groups": groups})
    assert found == pytest.approx(float(line.bse[0]), rel=1e-9)
    assert found > max(clustered_error(values, first), clustered_error(values, second))


def test_a_way_of_one_cluster_does_not_count_and_none_is_no_error() -> None:
    values, second = np.array([1.0, 2.0, 4.0, 1.0]), np.array([0, 0, 1, 2])
    one, each = np.zeros(4), np.arange(4)
    least = max(clustered_error(values, second), clustered_error(values, each))
    assert crossed_error(values, one, second, each) == pytest.approx(least)
    assert np.isnan(crossed_error(values, one, one, one))


def outcome(hide: str, label: str, below: list[float], upto: list[float]) -> dict[str, object]:
    count = len(below)
    scores = {name: [0.5] * count for name in ("inside_50", "inside_90", "log_score", "width_90", "miss")}
    names = {"trial": ["t"] * count, "anchor": ["a"] * count, "seabed": [f"s{i}" for i in range(count)]}
    names["visit"] = [f"v{i}" for i in range(count)]
    pulls = {**names, **scores, "capacity_width_90": [0.1] * count, "below": below, "upto": upto}
    return {"hide": hide, "label": label, "ok": label != "bad", "pulls": pulls}


def test_summary_goes_by_what_was_hidden() -> None:
    outcomes = [
        outcome("cells", "part 1", [0.0, 0.5], [0.1, 0.6]),
        outcome("designs", "bad", [0.95], [1.0]),
        {"hide": "nothing", "label": "", "ok": True},
    ]
    found = summarise(outcomes)
    assert list(found["hidden"].values) == ["cells", "designs"]
    assert found["pulls"].values.tolist() == [2, 1]
    assert found["clusters"].values.tolist() == [2, 1]
    assert found["unreliable_refits"].values.tolist() == [0, 1]
    assert np.allclose(found["pit"].sel(hidden="cells"), [0.5, 0, 0, 0, 0, 0.5, 0, 0, 0, 0], atol=1e-9)
    assert float(found["pit"].sel(hidden="designs", tenth=0.9)) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="no refit has hidden anything"):
        summarise(outcomes[2:])


def test_leaving_out_constant_draws_is_exact(inputs: xr.Dataset, draws: Draws) -> None:
    """When all draws agree, leaving a pull out changes nothing: the score is the likelihood itself."""
    made = draws(7.3, 0.2, spread=1e-4)
    found = leave_out(made, inputs)
    scores = pull_scores(made, inputs, np.arange(inputs.sizes["trial"]), seed=1)
    assert found.groups == inputs.sizes["trial"]
    assert found.log_score == pytest.approx(float(scores["log_score"].mean()), abs=0.002)
    by_seabed = leave_out(made, inputs, "seabeds")
    assert by_seabed.groups == 3
    assert by_seabed.log_score == pytest.approx(found.log_score, abs=0.004)
    with pytest.raises(ValueError, match=r"cannot leave out 'days'.*seabeds"):
        leave_out(made, inputs, "days")


def test_a_group_is_left_out_only_where_another_is_left_to_tell(inputs: xr.Dataset, draws: Draws) -> None:
    assert groups_of(inputs) == ["pulls", "cells", "visits", "designs", "seabeds"]
    one = inputs.isel(trial=[0, 1])
    alone = one.assign(seabed_of=0 * one["seabed_of"], visit_of=0 * one["visit_of"])
    assert "seabeds" not in groups_of(alone) and "visits" not in groups_of(alone)
    assert "pulls" in groups_of(alone)
    with pytest.raises(ValueError, match=r"all pulls are of one group \(visits\)"):
        leave_out(draws(7.3, 0.2), alone, "visits")

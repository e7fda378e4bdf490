"""Scatter against χ² and the binomial; leaving out against a closed form; stacking at its optimum."""

import numpy as np
import pytest
import xarray as xr
from arviz_stats import compare, loo
from scipy import optimize, stats

from holdcast.answers.criticise.model_comparison import model_comparison
from holdcast.answers.criticise.predictions import LEFT_OUT
from holdcast.answers.criticise.residuals import residuals
from holdcast.answers.criticise.scatter import seabed_scatter
from holdcast.capacity.fitting import Fit

CHAINS, DRAWS, PULLS = 4, 500, 60


def scaled(found: xr.Dataset, seabed: str, factor: float) -> xr.Dataset:
    """All loads of one seabed known exactly, their residuals stretched."""
    middle = stats.norm.ppf(np.linspace(0.5 / 1200, 1 - 0.5 / 1200, 1200))
    residual = np.random.default_rng(1).permutation(middle)
    own = found["seabed"].to_numpy() == seabed
    share = stats.norm.cdf(np.where(own, factor, 1.0) * residual)[:, None] * np.ones(found["pit_low"].shape)
    return found.assign(
        pit_low=found["pit_low"].copy(data=share), pit_high=found["pit_high"].copy(data=share)
    )


def test_loads_from_the_model_scatter_as_it_says(known_fit: Fit, found: xr.Dataset) -> None:
    scatter = seabed_scatter(known_fit, found)
    assert not scatter["shown"].any()
    assert (scatter["ratio_low"] < 1.0).all() and (scatter["ratio_high"] > 1.0).all()
    assert scatter["pulls"].sum() == known_fit.inputs.sizes["trial"]
    assert scatter["pull_scatter"].sel(quantile=0.5).to_numpy() == pytest.approx([0.2, 0.35], abs=1e-3)


@pytest.mark.parametrize("factor", [0.8, 1.25])
def test_a_seabed_that_scatters_otherwise_is_shown(known_fit: Fit, found: xr.Dataset, factor: float) -> None:
    scatter = seabed_scatter(known_fit, scaled(found, "sand", factor))
    assert scatter["shown"].sel(look="spread").to_numpy().tolist() == [False, True]
    assert scatter["shown"].sel(look="tails").to_numpy().tolist() == [False, True]
    assert float(scatter["ratio"].sel(seabed="sand")) == pytest.approx(factor, rel=0.05)


def test_numbers_of_exact_loads_are_those_of_scipy(known_fit: Fit, found: xr.Dataset) -> None:
    given = scaled(found, "mud", 1.1)
    here = seabed_scatter(known_fit, given).sel(seabed="mud")
    own = given["seabed"].to_numpy() == "mud"
    z, pulls = stats.norm.ppf(given["pit_low"].sel(prediction=LEFT_OUT).to_numpy()[own]), int(own.sum())
    squares = (pulls - 1) * z.var(ddof=1)
    tails = stats.chi2.cdf(squares, pulls - 1), stats.chi2.sf(squares, pulls - 1)
    assert float(here["p_value"].sel(look="spread")) == pytest.approx(2 * min(tails), rel=1e-6)
    low, high = np.sqrt(squares / stats.chi2.ppf([0.95, 0.05], pulls - 1))
    assert [float(here["ratio_low"]), float(here["ratio_high"])] == pytest.approx([low, high], rel=1e-6)
    beyond = int((np.abs(z) > stats.norm.ppf(0.95)).sum())
    assert float(here["outside"]) == pytest.approx(beyond / pulls)
    exact = stats.binomtest(beyond, pulls, 0.1).pvalue
    assert float(here["p_value"].sel(look="tails")) == pytest.approx(
        exact, rel=0.25
    )  # mid-p, so a little less


def test_few_pulls_are_not_judged(small_fit: Fit) -> None:
    scatter = seabed_scatter(small_fit, residuals(small_fit))
    assert np.isnan(scatter["ratio"]).all() and not scatter["shown"].any()
    assert scatter["pulls"].to_numpy().tolist() == [4, 3, 0]


def normal_model(y: np.ndarray, sd: float, seed: int, mean: float | None = None) -> xr.DataArray:
    """Log likelihood of readings with known spread and a flat prior on their mean, or a given mean."""
    rng = np.random.default_rng(seed)
    centre = (
        rng.normal(y.mean(), sd / np.sqrt(len(y)), (CHAINS, DRAWS))
        if mean is None
        else np.full((CHAINS, DRAWS), mean)
    )
    centre = centre + 1e-3 * rng.standard_normal(centre.shape)
    return xr.DataArray(
        stats.norm.logpdf(y, centre[..., None], sd),
        dims=("chain", "draw", "trial"),
        coords={"chain": range(CHAINS), "draw": range(DRAWS), "trial": [f"T{i}" for i in range(len(y))]},
    )


@pytest.fixture(scope="module")
def readings() -> np.ndarray:
    return np.random.default_rng(4).standard_normal(PULLS)


def test_score_agrees_with_the_closed_form(readings: np.ndarray) -> None:
    models = {"full": normal_model(readings, 1.0, 1), "wide": normal_model(readings, 2.0, 2)}
    made = model_comparison(models)
    for name, sd in (("full", 1.0), ("wide", 2.0)):
        others = (readings.sum() - readings) / (PULLS - 1)
        exact = stats.norm.logpdf(readings, others, sd * np.sqrt(1 + 1 / (PULLS - 1)))
        assert float(made["elpd"].sel(model=name)) == pytest.approx(exact.sum(), abs=0.1)
    assert made["finding"].to_numpy().tolist() == ["reference", "worse"]
    assert (made["high_k"] == 0).all() and made.attrs["pulls"] == PULLS


def test_weights_and_errors_are_those_of_the_library(readings: np.ndarray) -> None:
    models = {"low": normal_model(readings, 1.0, 1, -0.6), "high": normal_model(readings, 1.0, 2, 0.5)}
    made = model_comparison(models)
    scored = {
        name: loo(
            xr.DataTree.from_dict({"log_likelihood": each.to_dataset(name="y")}), pointwise=True, reff=1.0
        )
        for name, each in models.items()
    }
    table = compare(scored, round_to="none")
    for name in models:
        assert float(made["weight"].sel(model=name)) == pytest.approx(table.loc[name, "weight"])
        assert float(made["elpd"].sel(model=name)) == pytest.approx(table.loc[name, "elpd"])
    assert float(made["difference_error"][1]) == pytest.approx(table["dse"].max(), rel=0.02)
    a, b = (np.exp(np.asarray(scored[name].elpd_i)) for name in models)
    best = optimize.minimize_scalar(
        lambda w: -np.log(w * a + (1 - w) * b).sum(), bounds=(0, 1), method="bounded"
    )
    assert 0.1 < best.x < 0.9
    assert float(made["weight"].sel(model="low")) == pytest.approx(best.x, abs=0.01)


def test_the_same_model_is_no_different(readings: np.ndarray) -> None:
    made = model_comparison({"full": normal_model(readings, 1.0, 1), "again": normal_model(readings, 1.0, 9)})
    assert made["finding"].to_numpy().tolist() == ["reference", "no difference"]


def test_a_large_difference_from_a_single_visit_is_unclear(readings: np.ndarray) -> None:
    full = normal_model(readings, 1.0, 1)
    visit, anchor = np.arange(PULLS) // 10, np.arange(PULLS) % 10
    other = full - xr.DataArray(np.where(visit == 0, 0.8, 0.02), dims="trial")
    alone = model_comparison({"full": full, "other": other})
    clustered = model_comparison({"full": full, "other": other}, [visit, anchor])
    assert alone["finding"].to_numpy()[1] == "worse" and clustered["finding"].to_numpy()[1] == "unclear"
    assert float(clustered["difference"][1]) == pytest.approx(-9.0, abs=0.01)  # 10 of 0.8 and 50 of 0.02


def test_unlike_models_are_refused(readings: np.ndarray) -> None:
    full = normal_model(readings, 1.0, 1)
    with pytest.raises(ValueError, match="needs two models or more, got 1"):
        model_comparison({"full": full})
    with pytest.raises(ValueError, match="'other' is not about the same trials as 'full'"):
        model_comparison({"full": full, "other": full.isel(trial=slice(None, None, -1))})

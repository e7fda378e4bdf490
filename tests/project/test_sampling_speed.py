"""Effective samples per second: known autocorrelation, what counts as what, ratios; no sampler runs."""

import importlib
import math
import re
from types import ModuleType

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from scipy.signal import lfilter

CHAINS, DRAWS = 4, 2000


@pytest.fixture(scope="module")
def speed() -> ModuleType:
    return importlib.import_module("sampling_speed")


def autoregressive(rho: float, size: int = 1, seed: int = 1) -> np.ndarray:
    """Return stationary chains x[t] = rho x[t-1] + noise, shape (chain, draw, size)."""
    noise = np.random.default_rng(seed).normal(size=(CHAINS, DRAWS + 200, size))
    return lfilter([1.0], [1.0, -rho], noise, axis=1)[:, 200:]


def draws(**values: tuple[tuple[str, ...], np.ndarray]) -> xr.Dataset:
    made = {name: (("chain", "draw", *dims), array) for name, (dims, array) in values.items()}
    return xr.Dataset(made, {"x": ["left", "right"]})


def sizes(speed: ModuleType, cell: float, hyper: float, effect: float | None = None) -> pd.DataFrame:
    """Return a table in which tails have one more independent draw than bulks."""
    rows = [("log_capacity", "a, s", speed.CELL, cell, cell + 1.0)]
    rows.append(("visit_spread", "", speed.HYPERPARAMETER, hyper, hyper + 1.0))
    if effect is not None:
        rows.append(("visit_effect", "v", speed.EFFECT, effect, effect + 1.0))
    return pd.DataFrame(rows, columns=["variable", "place", "kind", "bulk", "tail"])


def run_of(
    speed: ModuleType,
    model: str,
    table: pd.DataFrame,
    campaign: int = 1,
    seconds: float = 10.0,
    rhat: float = 1.004,
):
    return speed.Run(campaign, model, seconds, 2.0, 3, 4000, rhat, 31.0, 120.0, table)


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_effective_size_of_an_autoregressive_chain(speed: ModuleType, rho: float) -> None:
    """Its mean has n (1 - rho) / (1 + rho) effective draws: the sum of rho^t over all lags (identity)."""
    found = speed.effective_sizes(draws(mean=((), autoregressive(rho)[..., 0])))
    expected = CHAINS * DRAWS * (1.0 - rho) / (1.0 + rho)
    assert found["bulk"].item() == pytest.approx(expected, rel=0.2)


def test_every_quantity_has_its_labelled_row(speed: ModuleType) -> None:
    slow_right = np.concatenate([autoregressive(0.0), autoregressive(0.9, seed=2)], axis=2)
    found = speed.effective_sizes(
        draws(cell=(("x",), slow_right), sigma=((), autoregressive(0.5, seed=3)[..., 0]))
    )
    assert list(found["variable"] + " " + found["place"]) == ["cell left", "cell right", "sigma "]
    assert list(found["kind"]) == [speed.CELL, speed.CELL, speed.HYPERPARAMETER]
    assert speed.least_place(found, "bulk") == "cell (right)"
    assert speed.least(found, by="bulk") == found["bulk"][1] < 0.2 * found["bulk"][0]


@pytest.mark.parametrize("bad", [0.0, math.nan])
def test_a_constant_or_a_draw_that_is_no_number_is_refused(speed: ModuleType, bad: float) -> None:
    good = autoregressive(0.0)[..., 0]
    with pytest.raises(ValueError, match=r"no effective sample size, constant or not a number: stuck$"):
        speed.effective_sizes(draws(fine=((), good), stuck=((), np.full_like(good, bad))))


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("log_capacity", "cell"),
        ("cell", "cell"),
        ("ground", "effect"),
        ("form_typical", "effect"),
        ("design_effect", "effect"),
        ("anchor_log_tip_load_missing", "effect"),
        ("ground_spread", "hyperparameter"),
        ("design_seabed_sd", "hyperparameter"),
        ("size_exponent_deviation", "hyperparameter"),
        ("intercept", "hyperparameter"),
    ],
)
def test_kinds(speed: ModuleType, name: str, kind: str) -> None:
    assert speed.kind_of(name) == kind


def test_the_least_leaves_effects_to_their_own_column(speed: ModuleType) -> None:
    table = sizes(speed, cell=900.0, hyper=600.0, effect=100.0)
    run = run_of(speed, speed.OURS, table)
    assert speed.least(table) == 600.0
    assert speed.least(table, by="tail") == 601.0
    assert speed.least(table, (speed.EFFECT,)) == 100.0
    assert math.isnan(speed.least(sizes(speed, 900.0, 600.0), (speed.EFFECT,)))
    assert speed.per_second(run) == 60.0
    assert speed.per_second(run, (speed.CELL,)) == 90.0
    assert speed.per_second(run, with_deriving=False) == 75.0


def test_ratios_are_ours_over_the_formula_models_on_the_same_campaign(speed: ModuleType) -> None:
    runs = []
    for campaign, ours, theirs in ((7, 800.0, 200.0), (8, 450.0, 450.0)):
        runs.append(run_of(speed, speed.FORMULA, sizes(speed, 500.0, theirs), campaign))
        runs.append(run_of(speed, speed.OURS, sizes(speed, 1000.0, ours), campaign, seconds=20.0))
    assert speed.ratios(runs, speed.per_second) == {7: 2.0, 8: 0.5}
    # Logs are +-log 2: their sd is log 2 times sqrt 2, its standard error that over sqrt 2.
    mean = "**1.00** ×÷ 2.00"
    assert speed.ratios_table(runs).splitlines()[2] == (
        f"| least ESS per second | 2.00 | 0.50 | {mean} | {mean} |"
    )
    with pytest.raises(ValueError, match=re.escape("campaigns [8] were not sampled with both models")):
        speed.ratios(runs[:3], speed.per_second)


def test_a_campaign_whose_chains_disagree_is_marked_and_has_a_mean_without_it(speed: ModuleType) -> None:
    runs = []
    for campaign, theirs, rhat in ((1, 400.0, 1.004), (2, 5.0, 1.7)):
        runs.append(run_of(speed, speed.OURS, sizes(speed, 900.0, 800.0), campaign))
        runs.append(run_of(speed, speed.FORMULA, sizes(speed, 900.0, theirs), campaign, rhat=rhat))
    head, _, first, *_ = speed.ratios_table(runs).splitlines()
    assert head.startswith("|  | campaign 1 | campaign 2 (chains disagree) |")
    assert first.startswith("| least ESS per second | 2.00 | 160.00 | **17.89** ×÷")
    assert first.endswith("| **2.00** |")
    assert speed.ratios_table(runs[2:]).splitlines()[2].endswith("| **160.00** | none |")


def test_the_page_says_each_figure_and_names_the_hardest(speed: ModuleType) -> None:
    runs = [
        run_of(speed, speed.OURS, sizes(speed, 900.0, 600.0, 700.0)),
        run_of(speed, speed.FORMULA, sizes(speed, 300.0, 150.0)),
    ]
    text = speed.page(runs, 450, 0.25)
    lines = text.splitlines()
    widths = {line.count("|") for line in lines if "holdcast |" in line or "formula model |" in line}
    assert widths == {speed.COLUMNS.count(", ") + 2}
    assert (
        "| 1 | holdcast | 10.0 | 2.0 | 3 of 4,000 | 1.004 | 600, visit_spread | 601, visit_spread |" in text
    )
    assert "| 900 | 600 | 700 | **60.0** | 90.0 | 60.0 | 31.0 | 120 |" in text
    assert "| 300 | 150 | not reported | **15.0** | 30.0 | 15.0 |" in text
    assert "| least ESS per second | 4.00 | **4.00** | **4.00** |" in text
    hardest = lines.index("| visit_spread | hyperparameter | 600 |")
    assert lines[hardest + 1 : hardest + 3] == [
        "| visit_effect | effect | 700 |",
        "| log_capacity | cell | 900 |",
    ]
    assert "--seeds 1 --pulls 450" in text
    assert "load average of 0.2" in text


def test_the_formula_models_draws_are_labelled_and_lose_their_standard_normals(speed: ModuleType) -> None:
    inputs = xr.Dataset(
        coords={"anchor": ["big", "small"], "seabed": ["mud", "sand", "clay"], "feature": ["roll_bar"]}
    )
    shape = (CHAINS, 5)
    raw = xr.Dataset(
        {
            "cell": (("chain", "draw", "cell_dim_0", "cell_dim_1"), np.zeros((*shape, 2, 3))),
            "form_z": (("chain", "draw", "form_z_dim_0"), np.zeros((*shape, 4))),
            "form_sd": (("chain", "draw"), np.zeros(shape)),
            "slopes": (("chain", "draw", "slopes_dim_0"), np.zeros((*shape, 4))),
            "varying_sd": (("chain", "draw", "varying_sd_dim_0"), np.zeros((*shape, 2))),
        }
    )
    kept = speed.formula_draws(raw, inputs)
    assert set(kept.data_vars) == {"cell", "form_sd", "slopes", "varying_sd"}
    assert list(kept["slopes"]["slopes_dim_0"].to_numpy()) == ["mass", "tip load", "area", "roll_bar"]
    assert list(kept["varying_sd"]["varying_sd_dim_0"].to_numpy()) == ["tip load", "roll_bar"]
    assert kept["cell"].sel(cell_dim_0="small", cell_dim_1="clay").sizes == {"chain": CHAINS, "draw": 5}
    assert "form_z" in raw

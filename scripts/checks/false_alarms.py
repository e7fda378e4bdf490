"""Count how often criticise would show a trend in logs without one, and in logs with one of a known size.

Residuals are drawn for the visits, anchors and readings of a fitted log: normal effects of visits and designs
about nothing, and of the scatter; half the time what seabeds, anchors and visits have in common is then taken
out, as a fit takes it out.  Nothing is sampled by the model, so a thousand logs take a few minutes.

Run as ``python scripts/checks/false_alarms.py RESULTS [--logs 400]``.
"""

import argparse
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy import stats

from holdcast.answers.criticise.covariates import covariates
from holdcast.answers.criticise.predictions import LEFT_OUT, NEW_DESIGN, NEW_VISIT
from holdcast.answers.criticise.residuals import mean_normal_between, residuals
from holdcast.answers.criticise.trends import residual_trends
from holdcast.capacity import load

Numbers = NDArray[np.float64]
SHARES = {LEFT_OUT: 0.0, NEW_VISIT: 0.3, NEW_DESIGN: 0.6}
"""Share of the variance of a residual that its visit or design brings; about that of the demo campaign."""
PRIOR_WEIGHT = 0.3
"""How strongly a fit draws effects to nothing: pulls that a prior is worth (a choice, no source)."""


def simulated(
    table: xr.Dataset,
    covariate: xr.DataArray,
    rng: np.random.Generator,
    *,
    fitted: bool,
    trend: float,
) -> xr.Dataset:
    """Return residuals of a log without a trend, or with one of loads as a power of the scope."""
    codes = {
        name: np.unique(table[name].to_numpy(), return_inverse=True)[1]
        for name in _TAKEN_OUT[LEFT_OUT] | {"design"}
    }
    scatter = rng.standard_normal(table.sizes["trial"])
    scope = np.nan_to_num(covariate.sel(covariate="scope") - covariate.sel(covariate="scope").mean()).astype(
        float
    )
    simulations = []
    for prediction, share in SHARES.items():
        cluster = codes["design" if prediction == NEW_DESIGN else "visit"]
        effect = rng.standard_normal(cluster.max() + 1)[cluster]
        residual = np.sqrt(share) * effect + np.sqrt(1.0 - share) * scatter
        residual = residual + trend * scope / table["spread"].sel(prediction=prediction).to_numpy()
        projected = [codes[name] for name in sorted(_TAKEN_OUT[prediction])] if fitted else []
        simulations.append(_without(residual, projected))
    pit = [
        _read(values, table.sel(prediction=name)) for values, name in zip(simulations, SHARES, strict=True)
    ]
    low, high = (np.stack([pair[side] for pair in pit], axis=1) for side in (0, 1))
    dims = ("trial", "prediction")
    new = {
        "pit_low": (dims, low),
        "pit_high": (dims, high),
        "mean_residual": (dims, mean_normal_between(low, high)),
    }
    return table.assign(new)


_TAKEN_OUT = {
    LEFT_OUT: {"visit", "anchor", "seabed"},
    NEW_VISIT: {"seabed", "anchor"},
    NEW_DESIGN: {"seabed", "visit"},
}


def _without(residual: Numbers, codes: list[NDArray[np.int64]]) -> Numbers:
    if not codes:
        return residual
    columns = np.concatenate([np.eye(code.max() + 1)[code] for code in codes], axis=1)
    gram = columns.T @ columns + PRIOR_WEIGHT * np.eye(columns.shape[1])
    return residual - columns @ np.linalg.solve(gram, columns.T @ residual)


def _read(residual: Numbers, table: xr.Dataset) -> tuple[Numbers, Numbers]:
    """Return shares below both ends, known as in the log: open beyond the row's limit, or by its step."""
    kind, share = table["kind"].to_numpy(), stats.norm.cdf(residual)
    below, above = table["pit_high"].to_numpy(), table["pit_low"].to_numpy()
    width = np.where(kind == 3, below - above, 0.0)
    low, high = np.maximum(share - 0.5 * width, 0.0), np.minimum(share + 0.5 * width, 1.0)
    low, high = (
        np.where((kind == 1) & (share < below), 0.0, low),
        np.where((kind == 1) & (share < below), below, high),
    )
    over = (kind == 2) & (share > above)
    return np.where(over, above, low), np.where(over, 1.0, high)


def main() -> None:
    """Count and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("results", type=Path)
    parser.add_argument("--logs", type=int, default=400)
    options = parser.parse_args()
    fit = load(options.results)
    table = residuals(fit)
    covariate = covariates(fit, table)
    print("| world | logs | any look shown | slope of scope shown |\n|---|---|---|---|")
    for name, fitted, trend in (
        ("no trend", False, 0.0),
        ("no trend, effects fitted", True, 0.0),
        ("loads as scope^0.5", False, 0.5),
        ("loads as scope^1", False, 1.0),
        ("loads as scope^1, effects fitted", True, 1.0),
    ):
        rng, alarms = np.random.default_rng(1), []
        for _ in range(options.logs):
            trends = residual_trends(simulated(table, covariate, rng, fitted=fitted, trend=trend), covariate)
            alarms.append(
                [bool(trends["shown"].any()), bool(trends["shown"].sel(covariate="scope", shape="slope"))]
            )
        rates = 100.0 * np.mean(alarms, axis=0)
        print(f"| {name} | {options.logs} | {rates[0]:.1f}% | {rates[1]:.1f}% |")


if __name__ == "__main__":
    main()

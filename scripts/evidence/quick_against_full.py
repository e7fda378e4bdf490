"""How far a quick fit's bands lie from a full fit's, on the invented demo.

Run as ``python scripts/evidence/quick_against_full.py [--seeds 5] [--out docs/quick.md]``.  The model is
compiled once; a normal at the joint mode, the other way to be quick, is held against the same full fit.
"""

import argparse
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.optimize import minimize

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.progress import silent
from holdcast.capacity.quick import quick_draws
from holdcast.capacity.sampler.compiling import CompiledModel, compile_model
from holdcast.capacity.sampler.sampling import ATTEMPTS, draw_posterior
from holdcast.package_data import path
from pages.version import version_line

PAGE = """# How near a quick fit is

`holdcast fit --quick` runs the same model and the same sampler with few draws: 2 chains of 300 after 300
tuning steps, in place of 4 of 1,000 after 400. Where its cells fall short of 100 independent draws it tries
once more, with 2 chains of 1,000. It is for a first look at a log, goes into
a folder of its own and never replaces a full fit. It is marked wherever it is shown: every answer on the
screen begins with APPROXIMATE, `--json` has `approximate: true`, every table of numbers begins with a column
`approximate` that says yes in each row (a full fit's has no such column). Made by

```
python scripts/evidence/quick_against_full.py --out docs/quick.md
```

on the demo, which is invented, against a fit of 8,000 draws. The ends of 90% bands lie off by {mean:.0f}% of
the band's width on average and {largest:.0f}% at worst, over all cells and {seeds} seeds:

| | ends off, mean | ends off, largest | middle off, largest | width / full width | |
|---|---|---|---|---|---|
{table}

A normal at the joint mode is the usual way to be quick. It does not serve here: the mode lies where the
spread of designs is several times too large, and its importance ratios say so (a Pareto k above 0.7 means
that no weighting can mend it).

{version}
"""
QUANTILES = (0.05, 0.5, 0.95)
PROPOSALS = 4000


@dataclass(frozen=True)
class Row:
    """How one approximation did: shares of a band's width, over all cells."""

    name: str
    ends_mean: float
    ends_largest: float
    middle_largest: float
    width_ratio: float
    note: str


def quantiles(draws: xr.Dataset) -> xr.DataArray:
    """Return the quantiles of each cell."""
    return draws["log_capacity"].quantile(QUANTILES, ("chain", "draw"))


def compared(name: str, quick: xr.DataArray, full: xr.DataArray, note: str) -> Row:
    """Hold the quantiles of an approximation against the full fit's."""
    width = full.sel(quantile=0.95) - full.sel(quantile=0.05)
    off = np.abs(quick - full) / width
    ends = off.sel(quantile=[0.05, 0.95])
    ratio = (quick.sel(quantile=0.95) - quick.sel(quantile=0.05)) / width
    middle = off.sel(quantile=0.5)
    return Row(name, float(ends.mean()), float(ends.max()), float(middle.max()), float(ratio.mean()), note)


def normal_at_mode(compiled: CompiledModel, seed: int) -> tuple[xr.Dataset, float]:
    """Return draws from the normal at the joint mode, and the Pareto k of their importance ratios."""
    from arviz_stats.base import array_stats

    data, start = compiled.data, compiled.derivation.layout.start

    def cost(point: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        value, slope = compiled.density(point, data.numbers, data.positions)
        return -float(value), -np.asarray(slope)

    mode = minimize(cost, start, jac=True, method="L-BFGS-B", options={"maxiter": 5000, "maxfun": 9000}).x
    step = 1e-4 * np.eye(len(mode))
    curvature = np.array([(cost(mode + each)[1] - cost(mode - each)[1]) / 2e-4 for each in step])
    factor = np.linalg.cholesky(0.5 * (curvature + curvature.T))
    standard = np.random.default_rng(seed).standard_normal((PROPOSALS, len(mode)))
    points = mode + np.linalg.solve(factor.T, standard.T).T
    ratios = np.array([-cost(point)[0] for point in points]) + 0.5 * (standard**2).sum(axis=1)
    _, pareto_k = array_stats.psislw(-ratios)
    coords = {"chain": [0], "draw": np.arange(PROPOSALS)}
    drawn = xr.DataArray(points[None], dims=("chain", "draw", "of"), coords=coords)
    return compiled.derivation.variables(drawn, data), float(pareto_k)


def rows(seeds: int) -> list[Row]:
    """Fit the demo in full, quickly from several seeds, and by a normal at the mode."""
    campaign = read_campaign(path("demo"))
    inputs = lay_out(campaign)
    compiled = compile_model(build_model(inputs, with_overrides(campaign.priors)))
    full = quantiles(draw_posterior(compiled, ATTEMPTS[1], 1)[0]["posterior"].to_dataset())
    comparisons = []
    for seed in range(1, seeds + 1):
        start = time.perf_counter()
        posterior, _, verdict = quick_draws(compiled, inputs, seed, silent)
        note = f"least ESS of cells {verdict.ess_bulk_min:.0f}, {time.perf_counter() - start:.1f} s"
        comparisons.append(compared(f"quick, seed {seed}", quantiles(posterior), full, note))
    normal, pareto_k = normal_at_mode(compiled, 1)
    return [
        *comparisons,
        compared("normal at the joint mode", quantiles(normal), full, f"Pareto k {pareto_k:.1f}"),
    ]


def page(comparisons: list[Row]) -> str:
    """Return the page."""
    quick = [row for row in comparisons if row.name.startswith("quick")]
    mean, largest = np.mean([row.ends_mean for row in quick]), max(row.ends_largest for row in quick)
    table = "\n".join(
        f"| {row.name} | {100 * row.ends_mean:.1f}% | {100 * row.ends_largest:.0f}% "
        f"| {100 * row.middle_largest:.0f}% | {row.width_ratio:.2f} | {row.note} |"
        for row in comparisons
    )
    return PAGE.format(
        mean=100 * mean, largest=100 * largest, seeds=len(quick), table=table, version=version_line()
    )


def main() -> None:
    """Print the page, or write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--out", type=Path, default=None)
    options = parser.parse_args()
    text = page(rows(options.seeds))
    if options.out:
        options.out.write_text(text, encoding="utf-8")
    else:
        print(text)


if __name__ == "__main__":
    main()

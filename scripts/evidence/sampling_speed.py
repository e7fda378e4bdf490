"""Effective samples per second of sampling: the capacity model against a general formula mixed model.

Run as ``nice python scripts/evidence/sampling_speed.py [--seeds 1 2 3] [--pulls 450] [--out FILE]``: both
models are compiled and sampled on the same invented campaigns in one process, taking turns at going first,
so that a busy or slow machine is the same for both.  Compiling is not counted.
"""

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from timeit import repeat

import numpy as np
import pandas as pd
import xarray as xr
from arviz_stats import ess, rhat

from benchmark import SIZES, write_campaign
from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.compiling import CompiledModel, compile_model
from holdcast.capacity.sampler.sampling import ATTEMPTS, draw_posterior
from holdcast.capacity.sampler.verdict import LIMITS
from holdcast.capacity.tree import judged_draws, keep_posterior
from invented.rivals import build_formula_model

OURS, FORMULA = "holdcast", "formula model"
EFFORT = ATTEMPTS[0]
CELL, HYPERPARAMETER, EFFECT = "cell", "hyperparameter", "effect"
COMPARED = (CELL, HYPERPARAMETER)
"""Kinds of quantity that both models report; the formula model's effects are left out of both."""
HARDEST = 8
GRADIENTS = 1000

PAGE = """# Sampling speed

Made by

```
{command}
```

on {cores} cores, with a load average of {load:.1f} at the start. Invented campaigns of {pulls} pulls; both
models have the same sampler, seed and effort: {effort.chains} chains of {effort.draws:,} draws after
{effort.tune:,} tuning steps, target acceptance {effort.target_accept}. The formula model is a mixed
model of one number a pull (`scripts/evidence/invented/rivals.py`); the capacity model reads each pull
as the interval.

The least effective sample size (ESS), bulk and tail, is over every cell's log capacity and every
hyperparameter. Effects (ground, forms, features, designs, configurations, visits) are judged in our fits too,
but the formula model does not report its own: ours stand apart. Seconds are tuning, sampling and deriving the
variables from the sampler's points; deriving was timed once more by itself, and so was one gradient, on one
core. Compiling counts for neither.

{rows}

Holdcast over the formula model; the aim is 3 in the first row. Where R-hat is above {rhat} the chains
disagree, and a ratio tells of a failed run, not of speed:

{ratios}

The variables of the capacity model with the fewest independent draws, the worst place of each:

{hardest}
"""


COLUMNS = (
    "campaign, model, seconds, of which deriving, divergences, R-hat, least bulk ESS, least tail ESS, "
    "cells: least ESS, hyperparameters: least ESS, effects: least ESS, **least ESS per second**, "
    "cells per second, hyperparameters per second, leapfrog steps a draw, µs a gradient"
)


@dataclass(frozen=True)
class Run:
    """One model on one campaign; ``sizes`` has a row a quantity, as made by :func:`effective_sizes`."""

    campaign: int
    model: str
    seconds: float
    deriving: float
    divergences: int
    draws: int
    rhat: float
    steps: float
    microseconds: float
    sizes: pd.DataFrame


def kind_of(name: str) -> str:
    """Return what a judged variable is: a cell's capacity, an effect of one group member, or neither."""
    if name in ("log_capacity", "cell"):
        return CELL
    is_effect = name in ("ground", "form_typical") or name.endswith(("_effect", "_missing"))
    return EFFECT if is_effect else HYPERPARAMETER


def effective_sizes(draws: xr.Dataset) -> pd.DataFrame:
    """Return bulk and tail ESS of every quantity, columns variable, place, kind, bulk, tail.

    Raises
    ------
    ValueError
        When a quantity has no ESS: it is constant or not a number.
    """
    with np.errstate(divide="ignore", invalid="ignore"):  # a constant gives NaN, which is refused below
        sizes = {method: ess(draws, method=method) for method in ("bulk", "tail")}
    rows = []
    for name, bulk in sizes["bulk"].data_vars.items():
        tail = sizes["tail"][name].transpose(*bulk.dims).to_numpy()
        for at in np.ndindex(bulk.shape):
            labels = [str(bulk[dim].to_numpy()[i]) for dim, i in zip(bulk.dims, at, strict=True)]
            rows.append((str(name), ", ".join(labels), kind_of(str(name)), bulk.to_numpy()[at], tail[at]))
    table = pd.DataFrame(rows, columns=["variable", "place", "kind", "bulk", "tail"])
    # Constants: the library answers with as many as there are draws.
    spans = {str(n): (a.max(("chain", "draw")) - a.min(("chain", "draw"))) for n, a in draws.items()}
    constant = [name for name, span in spans.items() if not bool((span > 0.0).all())]
    broken = sorted({*constant, *table.loc[table[["bulk", "tail"]].isna().any(axis=1), "variable"]})
    if broken:
        raise ValueError(f"no effective sample size, constant or not a number: {', '.join(broken)}")
    return table


def least(sizes: pd.DataFrame, kinds: tuple[str, ...] = COMPARED, by: str = "both") -> float:
    """Return the least ESS of some kinds of quantity: bulk, tail or the lesser of both; NaN where none is."""
    columns = ["bulk", "tail"] if by == "both" else [by]
    return float(sizes.loc[sizes["kind"].isin(kinds), columns].min(axis=None))


def least_place(sizes: pd.DataFrame, by: str) -> str:
    """Return where the least bulk or tail ESS is, of what both models report."""
    row = sizes.loc[sizes.loc[sizes["kind"].isin(COMPARED), by].idxmin()]
    return f"{row['variable']} ({row['place']})" if row["place"] else str(row["variable"])


def per_second(run: Run, kinds: tuple[str, ...] = COMPARED, *, with_deriving: bool = True) -> float:
    """Return the least ESS of some kinds of quantity for each second."""
    seconds = run.seconds if with_deriving else run.seconds - run.deriving
    return least(run.sizes, kinds) / seconds


MEASURES: dict[str, Callable[[Run], float]] = {
    "least ESS per second": per_second,
    "the same, deriving left out": lambda run: per_second(run, with_deriving=False),
    "cells alone": lambda run: per_second(run, (CELL,)),
    "hyperparameters alone": lambda run: per_second(run, (HYPERPARAMETER,)),
}


def ratios(runs: list[Run], measure: Callable[[Run], float]) -> dict[int, float]:
    """Return our measure over the formula model's, by campaign.

    Raises
    ------
    ValueError
        When a campaign lacks one of the two models.
    """
    by_place = {(run.campaign, run.model): measure(run) for run in runs}
    campaigns = sorted({run.campaign for run in runs})
    lacking = [c for c in campaigns if any((c, model) not in by_place for model in (OURS, FORMULA))]
    if lacking:
        raise ValueError(f"campaigns {lacking} were not sampled with both models")
    return {c: by_place[c, OURS] / by_place[c, FORMULA] for c in campaigns}


def geometric_mean(values: list[float]) -> str:
    """Return the geometric mean, and from two values on its standard error as a factor."""
    if not values:
        return "none"
    logs = np.log(values)
    error = f" ×÷ {np.exp(logs.std(ddof=1) / np.sqrt(len(logs))):.2f}" if len(logs) > 1 else ""
    return f"**{np.exp(logs.mean()):.2f}**{error}"


def rows_table(runs: list[Run]) -> str:
    """Return one Markdown row a model and campaign."""
    return "\n".join([*_head(tuple(COLUMNS.split(", "))), *(_line(_figures(run)) for run in runs)])


def _figures(run: Run) -> tuple[str, ...]:
    effects = least(run.sizes, (EFFECT,))
    extremes = [f"{least(run.sizes, by=by):.0f}, {least_place(run.sizes, by)}" for by in ("bulk", "tail")]
    return (
        str(run.campaign),
        run.model,
        f"{run.seconds:.1f}",
        f"{run.deriving:.1f}",
        f"{run.divergences} of {run.draws:,}",
        f"{run.rhat:.3f}",
        *extremes,
        f"{least(run.sizes, (CELL,)):.0f}",
        f"{least(run.sizes, (HYPERPARAMETER,)):.0f}",
        "not reported" if np.isnan(effects) else f"{effects:.0f}",
        f"**{per_second(run):.1f}**",
        f"{per_second(run, (CELL,)):.1f}",
        f"{per_second(run, (HYPERPARAMETER,)):.1f}",
        f"{run.steps:.1f}",
        f"{run.microseconds:.0f}",
    )


def _line(cells: tuple[str, ...]) -> str:
    return f"| {' | '.join(cells)} |"


def _head(names: tuple[str, ...]) -> list[str]:
    return [_line(names), _line(("---",) * len(names))]


def ratios_table(runs: list[Run]) -> str:
    """Return the ratios in Markdown: one column a campaign, then their geometric means."""
    campaigns = sorted({run.campaign for run in runs})
    stuck = {run.campaign for run in runs if not run.rhat <= LIMITS.rhat}
    marked = (f"campaign {c}{' (chains disagree)' if c in stuck else ''}" for c in campaigns)
    lines = _head(("", *marked, "geometric mean", "where all chains agree"))
    for name, measure in MEASURES.items():
        by_campaign = ratios(runs, measure)
        sound = [by_campaign[c] for c in campaigns if c not in stuck]
        means = (geometric_mean(list(by_campaign.values())), geometric_mean(sound))
        lines.append(_line((name, *(f"{by_campaign[c]:.2f}" for c in campaigns), *means)))
    return "\n".join(lines)


def hardest_table(runs: list[Run]) -> str:
    """Return in Markdown the variables of our model with the least ESS, one column a campaign."""
    ours = {run.campaign: run.sizes for run in runs if run.model == OURS}
    table = pd.DataFrame(
        {c: s.groupby("variable")[["bulk", "tail"]].min().min(axis=1) for c, s in ours.items()}
    )
    lines = _head(("variable", "kind", *(f"campaign {c}" for c in ours)))
    for name in table.min(axis=1).nsmallest(HARDEST).index:
        lines.append(_line((name, kind_of(name), *(f"{table.loc[name, c]:.0f}" for c in ours))))
    return "\n".join(lines)


def gradient_microseconds(compiled: CompiledModel) -> float:
    """Return the time of one log density with its gradient [µs], the best of five batches on one core."""
    data, start = compiled.data, compiled.derivation.layout.start
    number = GRADIENTS // 5
    batches = repeat(lambda: compiled.density(start, data.numbers, data.positions), repeat=5, number=number)
    return 1e6 * min(batches) / number


def deriving_seconds(compiled: CompiledModel) -> float:
    """Return how long the model's variables take to derive from as many points as were drawn [s]."""
    start = compiled.derivation.layout.start
    coords = {"chain": np.arange(EFFORT.chains), "draw": np.arange(EFFORT.draws)}
    many = np.broadcast_to(start, (EFFORT.chains, EFFORT.draws, start.size))
    points = xr.DataArray(many, coords, ("chain", "draw", "of"))
    begun = time.perf_counter()
    compiled.derivation.variables(points, compiled.data)
    return time.perf_counter() - begun


def formula_draws(posterior: xr.Dataset, inputs: xr.Dataset) -> xr.Dataset:
    """Return cells and hyperparameters of the formula model, labelled, without its standard normals."""
    variables = posterior.drop_vars([name for name in posterior.data_vars if str(name).endswith("_z")])
    features = [str(label) for label in inputs["feature"].to_numpy()]
    labels = {
        "cell_dim_0": inputs["anchor"].to_numpy(),
        "cell_dim_1": inputs["seabed"].to_numpy(),
        "slopes_dim_0": ["mass", "tip load", "area", *features],
        "varying_sd_dim_0": ["tip load", *features],
    }
    return variables.assign_coords({dim: labels[dim] for dim in labels if dim in variables.dims})


def sampled(model: str, compiled: CompiledModel, inputs: xr.Dataset, seed: int) -> Run:
    """Sample a model and measure it."""
    drawn, seconds = draw_posterior(compiled, EFFORT, seed)
    posterior, stats = drawn["posterior"].to_dataset(), drawn["sample_stats"].to_dataset()
    if model == OURS:
        judged = judged_draws(keep_posterior(posterior, inputs, seed), inputs)
    else:
        judged = formula_draws(posterior, inputs)
    return Run(
        seed,
        model,
        seconds,
        deriving_seconds(compiled),
        int(stats["diverging"].sum()),
        int(stats["diverging"].size),
        max(float(array.max()) for array in rhat(judged).data_vars.values() if array.size),
        float(stats["n_steps"].mean()),
        gradient_microseconds(compiled),
        effective_sizes(judged),
    )


def campaign_runs(seed: int, pulls: int, *, formula_first: bool) -> list[Run]:
    """Write an invented campaign and sample both models on it, ours first in the list whoever went first."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "campaign"
        write_campaign(folder, pulls, seed)
        campaign = read_campaign(folder)
    inputs = lay_out(campaign)
    ours = build_model(inputs, with_overrides(campaign.priors))
    compiled = {OURS: compile_model(ours), FORMULA: compile_model(build_formula_model(inputs))}
    order = (FORMULA, OURS) if formula_first else (OURS, FORMULA)
    runs = {}
    for name in order:
        runs[name] = sampled(name, compiled[name], inputs, seed)
        print(f"campaign {seed}, {name}: {per_second(runs[name]):.1f} a second", file=sys.stderr)
    return [runs[OURS], runs[FORMULA]]


def page(runs: list[Run], pulls: int, load: float) -> str:
    """Return the page."""
    seeds = " ".join(str(run.campaign) for run in runs if run.model == OURS)
    return PAGE.format(
        command=f"python scripts/evidence/sampling_speed.py --seeds {seeds} --pulls {pulls}",
        cores=os.cpu_count(),
        load=load,
        pulls=pulls,
        effort=EFFORT,
        rhat=LIMITS.rhat,
        rows=rows_table(runs),
        ratios=ratios_table(runs),
        hardest=hardest_table(runs),
    )


def main() -> None:
    """Print the page, or write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--pulls", type=int, default=450, choices=sorted(SIZES))
    parser.add_argument("--out", type=Path, default=None)
    options = parser.parse_args()
    load = os.getloadavg()[0]
    runs: list[Run] = []
    for turn, seed in enumerate(dict.fromkeys(options.seeds)):
        runs += campaign_runs(seed, options.pulls, formula_first=turn % 2 == 1)
    text = page(runs, options.pulls, load)
    if options.out:
        options.out.write_text(text, encoding="utf-8")
    else:
        print(text)


if __name__ == "__main__":
    main()

"""Days by the plan against random days and days that fill the emptiest row, in invented worlds.

    PYTHONPATH=scripts/evidence python -m days.plans --campaigns 20 --out docs/plan.jsonl

Each campaign is an invented log of 250 pulls in a world that is not the program's model.  It is fitted, one
day of 8 hours is spent in each way, the day's pulls are read in the world, and the log is fitted again with
them.  Each campaign is one JSON line, written when it is done; the same command goes on where it stopped.
``--campaigns 0`` only prints the tables.
"""

import argparse
import sys
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from days.readings import pulled, read_log, seen_after
from days.rivals import HOURS, PULL_H, SETUP_H, TRAVEL_H, Tests, emptiest_row_day, hours_of_day, random_day
from days.tables import tables
from holdcast.answers.plan.open_questions import Goal
from holdcast.answers.plan.plan import day_problem
from holdcast.answers.plan.search import Problem, best_day, left_after
from holdcast.campaign.records import Campaign
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.priors import default_priors
from holdcast.capacity.sampler.sampling import Effort
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.capacity.tree import assemble, root_attributes
from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.outcomes import OutcomesError, read_outcomes
from holdcast.evaluate.refit import Refit, Refitter, prepare, refit
from invented.campaign import draw_campaign
from invented.truth import EVERY_WORLD, SEABEDS, WORLDS, Truth
from simulated.campaign_runs import Outcome, of_one_version, run_each, tell

SEED = 20_261_129
AIMS = ("cells", "ranking")
KINDS = (*WORLDS, "slides_weight")
QUICK = (Effort(300, 300, 0.8, chains=2),)
HOURS_GIVEN = {
    "travel_h": dict(zip(SEABEDS, TRAVEL_H, strict=True)),
    "setup_h": {"": SETUP_H},
    "pull_h": {"": PULL_H},
}


def arguments() -> argparse.Namespace:
    """Read the command line."""
    layout = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=layout)
    parser.add_argument("--campaigns", type=int, default=20, help="one world after the other")
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a campaign")
    parser.add_argument("--seed", type=int, default=SEED)
    return parser.parse_args()


def known_of(posterior: xr.Dataset, truth: Truth) -> dict[str, Any]:
    """Return what a fit knows of all cells: widths, errors, cover, and pairs in the wrong order."""
    draws = posterior["log_capacity"].stack(sample=("chain", "draw")).transpose("sample", "anchor", "seabed")
    values, true = draws.to_numpy(), truth.log_capacity
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95], axis=0)
    return {
        "width": round(float((high - low).mean()), 5),
        "sd": round(float(values.std(axis=0, ddof=1).mean()), 5),
        "error": round(float(np.sqrt(((middle - true) ** 2).mean())), 5),
        "cover": round(float(((low <= true) & (true <= high)).mean()), 5),
        "wrong": _wrong_orders(values, true),
    }


def _wrong_orders(values: np.ndarray, true: np.ndarray) -> int:
    """Return how many pairs of anchors stand in the wrong order, over all seabeds, as most draws have it."""
    one, other = np.triu_indices(true.shape[0], 1)
    more = np.array(
        [(values[:, a] > values[:, b]).mean(axis=0) > 0.5 for a, b in zip(one, other, strict=True)]
    )
    return int((more != (true[one] > true[other])).sum())


def _sampling(verdict: Verdict) -> dict[str, float]:
    return {"rhat": round(verdict.rhat_max, 3), "ess": round(verdict.ess_bulk_min)}


def fit_of(refitted: Refit, campaign: Campaign, seed: int) -> Fit:
    """Return a fit of the log before the day, as a plan needs it."""
    inputs = lay_out(campaign)
    draws = refitted.posterior.sel(
        {dim: inputs[dim] for dim in refitted.posterior.dims if dim in inputs.dims}
    )
    tree = assemble(draws, xr.Dataset(), xr.Dataset(), inputs, campaign, seed)
    tree.attrs = root_attributes(campaign, default_priors(), seed, "days")
    return Fit(tree, refitted.verdict)


def days_of(problems: dict[str, Problem], tested: np.ndarray, seed: list[int]) -> dict[str, Tests]:
    """Return each way to spend the day."""
    planned = {
        way: {divmod(cell, len(SEABEDS)): pulls for cell, pulls in best_day(problem).items()}
        for way, problem in problems.items()
    }
    return {
        "plan": planned["cells"],
        "random": random_day(len(tested), np.random.default_rng([*seed, 2])),
        "emptiest row": emptiest_row_day(tested),
        "plan for ranking": planned["ranking"],
    }


def run_campaign(number: int, seed: int, refitter: Refitter) -> Outcome:
    """Return everything about one campaign: what is known before and after each day."""
    name = KINDS[number % len(KINDS)]
    world = EVERY_WORLD[name]
    truth, log, _, generator = draw_campaign(name, number, seed)
    start = [seed, number]

    def fitted(inputs: xr.Dataset) -> Refit:
        return refit(refitter, inputs, seed=seed + number, efforts=QUICK)

    refitted = fitted(seen_after(world, truth, log, None, generator))
    fit = fit_of(refitted, read_log(world, truth, log, generator), seed + number)
    problems = {aim: day_problem(fit, HOURS, Goal(aim), hours_given=HOURS_GIVEN) for aim in AIMS}
    tested = np.zeros(truth.log_capacity.shape, dtype=bool)
    tested[log.anchor_of, log.seabed_of] = True
    days = {}
    for way, tests in days_of(problems, tested, start).items():
        day = pulled(world, truth, log, tests, start)
        after = fitted(seen_after(world, truth, log, day, generator))
        days[way] = {
            "tests": [[*cell, pulls] for cell, pulls in sorted(tests.items())],
            "hours": round(hours_of_day(tests), 2),
            "expected": {aim: expected(problem, tests) for aim, problem in problems.items()},
            **_sampling(after.verdict),
            **known_of(after.posterior, truth),
        }
    return {
        "world": name,
        "campaign": number,
        "seed": seed,
        **_sampling(refitted.verdict),
        "before": known_of(refitted.posterior, truth),
        "days": days,
    }


def expected(problem: Problem, tests: Tests) -> float:
    """Return the share of what is in doubt that tests are expected to take away."""
    flat = {anchor * len(SEABEDS) + seabed: pulls for (anchor, seabed), pulls in tests.items()}
    return round(1.0 - left_after(problem, flat) / left_after(problem, {}), 5)


def run_missing(options: argparse.Namespace, outcomes: list[Outcome]) -> None:
    """Run every campaign asked for that has no outcome of this seed and version of the model."""
    key = (options.seed, model_digest())
    done = {each["campaign"] for each in outcomes if (each["seed"], each["model"]) == key}
    missing = [number for number in range(options.campaigns) if number not in done]
    if not missing:
        return
    tell("compiling the model: about a minute the first time")
    name = KINDS[0]
    truth, log, _, generator = draw_campaign(name, 0, options.seed)
    refitter = prepare(seen_after(EVERY_WORLD[name], truth, log, None, generator), default_priors())
    run_each(missing, lambda number: run_campaign(number, options.seed, refitter), options.out, said_of)


def said_of(outcome: Outcome) -> str:
    """Return one campaign in a few words."""
    before, parts = outcome["before"]["width"], []
    for way, day in outcome["days"].items():
        narrowing, thought = 1.0 - day["width"] / before, day["expected"]["cells"]
        parts.append(f"{way} {narrowing:.1%} narrower, {thought:.1%} expected")
    return f"{outcome['world']} {outcome['campaign']}: {'; '.join(parts)}"


def main() -> int:
    """Run what the file does not hold yet, then print the tables."""
    options = arguments()
    try:
        run_missing(options, read_outcomes(options.out))
        mine = of_one_version(read_outcomes(options.out), options.seed)
    except OutcomesError as error:
        tell(f"plans: {error}")
        return 2
    print(tables(mine) if mine else "no campaign yet")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Try the model on invented worlds that are not the model, against simpler methods, and print one table.

    python scripts/evidence/worlds.py --campaigns 8 --world all --out worlds.jsonl

Each campaign is one JSON line in the file, written when it is done; the same command goes on where it
stopped. ``--first N`` begins at another campaign number: campaigns that no change of the model has seen.
``--table`` only prints the table of what the file holds.
"""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from holdcast.capacity.model.priors import default_priors
from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.outcomes import OutcomesError, read_outcomes
from holdcast.evaluate.refit import Refitter, prepare, refit
from invented.campaign import make_campaign
from invented.rivals import (
    QUANTILES,
    Guess,
    best_possible,
    copy_most_similar,
    formula_model,
    gaussian_process,
    imputer,
    prepare_formula,
    row_and_column_means,
)
from invented.truth import ANCHORS, SEABEDS, WORLDS
from pages.worlds_figure import save_worlds_figure
from pages.worlds_table import worlds_table
from simulated.campaign_runs import Outcome, of_one_version, run_each, tell
from worlds_floor import least_over_best

SEED = 20_260_611
HYPERPARAMETERS = ("design_spread", "form_spread", "visit_spread", "size_exponent", "penetration_steepness")


def arguments() -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--campaigns", type=int, default=8, help="campaigns of each world")
    parser.add_argument("--first", type=int, default=0, help="number of the first campaign")
    parser.add_argument("--world", default="all", choices=["all", *WORLDS])
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a campaign")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--figure", type=Path, help="also draw errors and coverage world by world (SVG)")
    parser.add_argument("--table", action="store_true", help="only print the table of what the file holds")
    return parser.parse_args()


def our_guess(refitter: Refitter, inputs: xr.Dataset, seed: int) -> tuple[Guess, dict[str, Any]]:
    """Return the program's guess and the sampler's verdict on it."""
    import arviz as az

    refitted = refit(refitter, inputs, seed=seed)
    quantiles = refitted.posterior["log_capacity"].quantile(QUANTILES, dim=("chain", "draw")).to_numpy()
    verdict = refitted.verdict
    ess = az.ess(refitted.posterior[list(HYPERPARAMETERS)])
    verdict_fields = {
        "ok": verdict.ok,
        "attempts": verdict.attempts,
        "rhat": round(verdict.rhat_max, 4),
        "seconds_sample": round(verdict.seconds_sample, 2),
        "ess_hyper": round(min(float(value) for value in ess.data_vars.values()), 1),
    }
    cells = min(verdict.ess_bulk_min, verdict.ess_tail_min)
    return Guess(quantiles[2], quantiles, verdict.divergences, verdict.draws, cells), verdict_fields


def as_record(guess: Guess, hidden: np.ndarray, seconds: float) -> dict[str, Any]:
    """Return a guess at the hidden cells as plain numbers."""
    record: dict[str, Any] = {
        "middle": np.round(guess.middle[hidden], 4).tolist(),
        "seconds": round(seconds, 2),
    }
    if guess.quantiles is not None:
        record["quantiles"] = np.round(guess.quantiles[:, hidden], 4).tolist()
    if guess.draws:
        record |= {"divergences": guess.divergences, "draws": guess.draws, "ess": round(guess.ess, 1)}
    return record


def run_campaign(world: str, number: int, seed: int, ours: Refitter, formula: Refitter) -> dict[str, Any]:
    """Return everything about one campaign: truth and every method's guesses in the hidden cells."""
    truth, log, hidden, inputs = make_campaign(world, number, seed)
    by_method: dict[str, Any] = {}

    def own() -> Guess:
        guess, verdict = our_guess(ours, inputs, seed + number)
        by_method.update(verdict)
        return guess

    methods: dict[str, Callable[[], Guess]] = {
        "best possible": lambda: best_possible(truth, log),
        "holdcast": own,
        "formula model": lambda: formula_model(formula, inputs, seed + number),
        "Gaussian process": lambda: gaussian_process(inputs),
        "imputer": lambda: imputer(inputs),
        "row and column means": lambda: row_and_column_means(inputs),
        "most similar anchor": lambda: copy_most_similar(inputs),
    }
    guesses = {}
    for name, method in methods.items():
        start = time.perf_counter()
        guesses[name] = as_record(method(), hidden, time.perf_counter() - start)
    return {
        "world": world,
        "campaign": number,
        "seed": seed,
        "verdict": by_method,
        "censored": round(float(np.isinf(log.released_n).mean()), 3),
        "cells": [[ANCHORS[a], SEABEDS[s]] for a, s in np.argwhere(hidden)],
        "truth": np.round(truth.log_capacity[hidden], 4).tolist(),
        "methods": guesses,
    }


def main() -> int:
    """Run what the file does not hold yet, then print the table."""
    options = arguments()
    try:
        outcomes = read_outcomes(options.out)
    except OutcomesError as error:
        tell(f"worlds: {error}")
        return 2
    if not options.table:
        run_missing(options, outcomes)
        outcomes = read_outcomes(options.out)
    outcomes = of_one_version(outcomes, options.seed)
    print(worlds_table(outcomes))
    if options.figure and outcomes:
        save_worlds_figure(outcomes, least_over_best(outcomes), options.figure)
    return 0


def run_missing(options: argparse.Namespace, outcomes: list[dict[str, Any]]) -> None:
    """Run every campaign asked for that has no outcome, one number of all worlds before the next."""
    key = {"seed": options.seed, "model": model_digest()}
    mine = [outcome for outcome in outcomes if {name: outcome[name] for name in key} == key]
    done = {(outcome["world"], outcome["campaign"]) for outcome in mine}
    worlds = list(WORLDS) if options.world == "all" else [options.world]
    numbers = range(options.first, options.first + options.campaigns)
    missing = [(w, n) for n in numbers for w in worlds if (w, n) not in done]
    if not missing:
        return
    tell("compiling both models: about a minute the first time")
    # Chains start near a point that the compiled campaign tells: always the same one, run on or resumed.
    inputs = make_campaign(next(iter(WORLDS)), 0, options.seed)[3]
    ours, formula = prepare(inputs, default_priors()), prepare_formula(inputs)

    def run(asked_for: tuple[str, int]) -> Outcome:
        return run_campaign(*asked_for, options.seed, ours, formula)

    run_each(missing, run, options.out, _said)


def _said(outcome: Outcome) -> str:
    good = "good" if outcome["verdict"]["ok"] else "BAD"
    return f"{outcome['world']} {outcome['campaign']}, verdict {good}"


if __name__ == "__main__":
    sys.exit(main())

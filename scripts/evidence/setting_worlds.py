"""Pulls that do not set, spots, lonely days, designs that differ by ground: what the program makes of them.

    python scripts/evidence/setting_worlds.py --world setting --campaigns 4 --out docs/setting.jsonl

Each campaign is one JSON line in the file, written when it is done; the same command goes on where it
stopped. ``--labels`` fills the column `set`: blank, given, or wrong in a tenth of the rows; ``--resets`` adds
ten attempts to set again in a third of the cells. ``--table`` only prints what the file holds.
"""

import argparse
import sys
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from holdcast.capacity.model.priors import default_priors
from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.outcomes import OutcomesError, read_outcomes
from holdcast.evaluate.refit import Refitter, prepare, refit
from invented.campaign import make_campaign
from invented.log import FOULED_LOG, LABELS
from invented.setting import chance_above
from invented.truth import EVERY_WORLD, SETTING_WORLDS, WORLDS
from simulated.campaign_runs import Outcome, run_each, tell
from simulated.new_pulls import chance_of_exceeding

SEED = 20_261_129
SHARE = 0.4
"""Share of the true capacity that a new pull is asked to exceed."""
QUANTILES = (0.05, 0.5, 0.95)


def arguments() -> argparse.Namespace:
    """Read the command line."""
    layout = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=layout)
    parser.add_argument("--campaigns", type=int, default=4, help="campaigns of each world")
    parser.add_argument("--first", type=int, default=0, help="number of the first campaign")
    parser.add_argument("--world", default="setting", choices=["setting", "nine", *EVERY_WORLD])
    parser.add_argument("--labels", default="blank", choices=LABELS)
    parser.add_argument("--resets", action="store_true")
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a campaign")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--table", action="store_true", help="only print the tables of what the file holds")
    return parser.parse_args()


def score_campaign(
    world: str, number: int, seed: int, labels: str, resets: bool, refitter: Refitter
) -> Outcome:
    """Return truth and answers in all cells of one campaign, by rows of (anchor, seabed)."""
    truth, log, hidden, inputs = make_campaign(world, number, seed, labels, resets)
    refitted = refit(refitter, inputs, seed=seed + number)
    draws, verdict = refitted.posterior, refitted.verdict
    above = chance_above(EVERY_WORLD[world], truth, SHARE, FOULED_LOG)
    cells = {
        "hidden": hidden.astype(int),
        "truth": truth.log_capacity,
        "quantiles": draws["log_capacity"].quantile(QUANTILES, dim=("chain", "draw")).to_numpy(),
        "above": above,
        "said_above": chance_of_exceeding(draws, inputs, truth.log_capacity + np.log(SHARE)),
    }
    if truth.setting is not None:
        cells |= {"sets": truth.setting.sets, "resets": truth.setting.resets}
    for name in ("sets", "resets"):
        if f"{name}_log_odds" in draws:
            cells[f"said_{name}"] = _chances(draws[f"{name}_log_odds"])
    return {
        "world": world,
        "campaign": number,
        "seed": seed,
        "labels": labels,
        "with_resets": resets,
        "unset": round(float(1.0 - log.did_set.mean()), 3),
        "verdict": {
            "ok": verdict.ok,
            "attempts": verdict.attempts,
            "divergences": verdict.divergences,
            "draws": verdict.draws,
            "rhat": round(verdict.rhat_max, 4),
            "seconds": round(verdict.seconds_sample, 2),
        },
        **{name: np.round(values, 4).tolist() for name, values in cells.items()},
    }


def _chances(log_odds: xr.DataArray) -> np.ndarray:
    """Return quantiles and the mean of a chance, shape (4, anchor, seabed)."""
    chance = 1.0 / (1.0 + np.exp(-log_odds))
    quantiles = chance.quantile(QUANTILES, dim=("chain", "draw")).to_numpy()
    return np.concatenate([quantiles, chance.mean(("chain", "draw")).to_numpy()[None]])


@cache
def compiled(visits: str, resets: bool, seed: int) -> Refitter:
    """Return the model compiled for one layout: how visits lie, and whether anchors were set again."""
    tell("compiling the model: about a minute the first time")
    worlds = (name for name, kind in EVERY_WORLD.items() if kind.visits == visits)
    world = "slides_weight" if resets else next(worlds)
    return prepare(make_campaign(world, 0, seed, "blank", resets)[3], default_priors())


def run_missing(options: argparse.Namespace, outcomes: list[dict[str, Any]]) -> None:
    """Run every campaign asked for that has no outcome, one number of all worlds before the next."""
    names = ("world", "campaign", "labels", "with_resets")
    key = {"seed": options.seed, "model": model_digest()}
    done = {
        tuple(outcome[name] for name in names)
        for outcome in outcomes
        if all(outcome[name] == value for name, value in key.items())
    }
    worlds = {"setting": list(SETTING_WORLDS), "nine": list(WORLDS)}.get(options.world, [options.world])
    numbers = range(options.first, options.first + options.campaigns)
    wanted = [(world, number, options.labels, options.resets) for number in numbers for world in worlds]

    def run(each: tuple[str, int, str, bool]) -> Outcome:
        world, number, labels, resets = each
        refitter = compiled(EVERY_WORLD[world].visits, resets, options.seed)
        return score_campaign(world, number, options.seed, labels, resets, refitter)

    def describe(result: Outcome) -> str:
        return f"{result['world']} {result['campaign']}, {result['verdict']}"

    run_each([each for each in wanted if each not in done], run, options.out, describe)


def main() -> int:
    """Run what the file does not hold yet, then print the tables."""
    from pages.setting_table import setting_tables

    options = arguments()
    try:
        outcomes = read_outcomes(options.out)
    except OutcomesError as error:
        tell(f"setting_worlds: {error}")
        return 2
    if not options.table:
        run_missing(options, outcomes)
    print(setting_tables(read_outcomes(options.out)))
    return 0


if __name__ == "__main__":
    sys.exit(main())

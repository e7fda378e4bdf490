"""Bands for what was never pulled: a size, an only anchor and a seabed hidden from each simulated campaign.

    python scripts/evidence/holdout.py --campaigns 100 --out docs/holdout.jsonl --table docs/holdout.md

A world is drawn from the model's own prior, a campaign is pulled in it, the three are hidden, the rest is
fitted, and the bands of the hidden cells are held against the world.  Each campaign is one JSON line, written
when it is done; the same command goes on where it stopped.  ``--campaigns 0`` only makes the table again.
"""

import argparse
import logging
import sys
import time
from collections.abc import Sequence
from functools import lru_cache, partial
from pathlib import Path

import numpy as np
import xarray as xr

from calibration import BLOCK, draw_truths, read_truth
from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.priors import default_priors
from holdcast.capacity.sampler.refitting import hide_pulls
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.outcomes import OutcomesError, read_outcomes
from holdcast.evaluate.refit import Refitter, prepare, refit
from pages.holdout_scores import score_cells
from pages.holdout_table import page
from pages.written import write_or_print
from simulated.campaign_runs import Outcome, of_one_version, run_each, tell
from simulated.holdout_layout import (
    KINDS,
    choose_hidden,
    hidden_pulls,
    make_campaign,
    mass_ratio,
    scored_cells,
)
from simulated.holdout_predict import fit_without, predicted

ROOT = Path(__file__).resolve().parents[2]
SEED = 20_260_615


def arguments() -> argparse.Namespace:
    """Read the command line."""
    layout = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=layout)
    parser.add_argument("--campaigns", type=int, default=100)
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a campaign")
    parser.add_argument(
        "--table", type=Path, help="also write the page of all outcomes in the file (Markdown)"
    )
    parser.add_argument("--seed", type=int, default=SEED)
    return parser.parse_args()


def run_campaign(
    refitter: Refitter, campaign: Campaign, layout: xr.Dataset, truth: xr.Dataset, number: int, seed: int
) -> Outcome:
    """Return everything about one campaign: what was hidden, its truth, and what the refit said of it."""
    start, hidden, own_seed = time.perf_counter(), choose_hidden(number), seed + number
    readings = read_truth(layout, truth, np.random.default_rng([seed, number, 1]))
    gone = hidden_pulls(layout, hidden)
    seen = hide_pulls(readings, gone)
    refitted = refit(refitter, seen, seed=own_seed)
    fit = fit_without(refitted, campaign, seen, hidden, default_priors(), own_seed)
    generator = np.random.default_rng([seed, number])
    scores = {}
    for kind, cells in scored_cells(layout, hidden).items():
        scores[kind] = score_cells(refitted.posterior, truth, layout["log_weight"], cells, generator)
        scores[kind]["predict"] = predicted(fit, campaign, cells)
    return {
        "campaign": number,
        "seed": seed,
        "hidden": {kind: getattr(hidden, kind) for kind in KINDS},
        "mass_ratio": round(mass_ratio(campaign, hidden), 4),
        "kinds": np.bincount(readings["kind"].to_numpy()[~gone], minlength=4).tolist(),
        "verdict": kept_verdict(refitted.verdict),
        "scores": scores,
        "seconds": round(time.perf_counter() - start, 1),
    }


def kept_verdict(verdict: Verdict) -> Outcome:
    """Return what the table says of the sampler."""
    wanted = (
        "ok",
        "sentences",
        "attempts",
        "divergences",
        "draws",
        "ess_bulk_min",
        "ess_tail_min",
        "rhat_max",
    )
    fields = verdict.as_dict()
    return {**{name: fields[name] for name in wanted}, "seconds_sample": round(verdict.seconds_sample, 2)}


def missing_campaigns(campaigns: int, seed: int, outcomes: Sequence[Outcome]) -> list[int]:
    """Return the numbers of campaigns that have no outcome of this seed and version of the model."""
    key = (seed, model_digest())
    done = {outcome["campaign"] for outcome in outcomes if (outcome["seed"], outcome["model"]) == key}
    return [number for number in range(campaigns) if number not in done]


def run_missing(options: argparse.Namespace, outcomes: Sequence[Outcome]) -> None:
    """Run every campaign asked for that has no outcome yet."""
    missing = missing_campaigns(options.campaigns, options.seed, outcomes)
    if not missing:
        return
    tell("compiling the model: about a minute the first time")
    campaign = make_campaign()
    layout = lay_out(campaign)
    refitter = prepare(layout, default_priors())
    truths = lru_cache(maxsize=1)(partial(draw_truths, refitter, options.seed))

    def run(number: int) -> Outcome:
        truth = truths(number // BLOCK).isel(draw=[number % BLOCK])
        return run_campaign(refitter, campaign, layout, truth, number, options.seed)

    run_each(missing, run, options.out, progress_of)


def progress_of(outcome: Outcome) -> str:
    """Return one campaign in a few words."""
    parts = []
    for kind in KINDS:
        capacity = outcome["scores"][kind]["capacity"]
        low, high = capacity["quantiles"][0], capacity["quantiles"][-1]
        inside = sum(a <= t <= b for a, t, b in zip(low, capacity["truth"], high, strict=True))
        parts.append(f"{kind} {outcome['hidden'][kind]} {inside}/{len(low)} inside")
    good = "good" if outcome["verdict"]["ok"] else "BAD"
    return f"campaign {outcome['campaign']}, {', '.join(parts)}, verdict {good}, {outcome['seconds']:.0f} s"


def command(options: argparse.Namespace, campaigns: int) -> str:
    """Return the command that makes the page again, without the folders of one machine."""
    parts = ["python scripts/evidence/holdout.py", f"--campaigns {campaigns}"]
    for name in ("out", "table"):
        if path := getattr(options, name):
            inside = path.resolve().is_relative_to(ROOT)
            parts.append(f"--{name} {path.resolve().relative_to(ROOT) if inside else path.name}")
    if options.seed != SEED:
        parts.append(f"--seed {options.seed}")
    return " ".join(parts)


def main() -> int:
    """Run what the file does not hold yet, then write the page."""
    options = arguments()
    logging.getLogger("pymc").setLevel(logging.WARNING)
    try:
        run_missing(options, read_outcomes(options.out))
        mine = of_one_version(read_outcomes(options.out), options.seed)
    except OutcomesError as error:
        tell(f"holdout: {error}")
        return 2
    if not mine:
        tell(f"holdout: {options.out} holds no campaign of seed {options.seed} yet")
        return 2
    mine.sort(key=lambda each: each["campaign"])
    text = page(mine, command(options, len(mine)))
    write_or_print(text, options.table)
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""New trials without a refit against true refits: twelve pulls, and three, held back of simulated campaigns.

    python scripts/evidence/added_trials.py --campaigns 20 --out docs/added.jsonl --table docs/add.md

A world is drawn from the model's own prior and a campaign of 150 pulls is made in it.  Twelve pulls are held
back, a whole visit first; the rest is fitted, the twelve are added by weights, and the whole is fitted again.
The same with three of them.  Medians and band ends of every cell are held against the fit of the whole in
standard errors of both, and the tails of the twelve are counted.  Each campaign is one JSON line; the same
command goes on where it stopped.
"""

import argparse
import logging
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import xarray as xr
from arviz_stats.base import array_stats

from calibration import BLOCK, draw_truths
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.readings.surprise import surprise
from holdcast.answers.readings.update import updated_draws
from holdcast.answers.readings.weights import QUANTILE_ERROR, weighted_bands
from holdcast.campaign.records import Campaign
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.inputs.new_tests import lay_out_with
from holdcast.capacity.model.priors import default_priors
from holdcast.capacity.sampler.refitting import hide_pulls
from holdcast.capacity.sampler.sampling import Effort
from holdcast.capacity.tree import assemble, root_attributes
from holdcast.evaluate.outcomes import read_outcomes
from holdcast.evaluate.refit import Refit, Refitter, prepare, refit
from pages.added_table import page
from pages.written import write_or_print
from simulated.calibration_setting import set_pulls
from simulated.campaign_runs import Outcome, of_one_version, run_each, tell
from simulated.holdout_layout import make_campaign

SEED = 20_261_129
HELD_BACK = (12, 3)
"""Pulls that are added: as many as a day brings, and as many as an hour does."""
EFFORTS = (Effort(500, 1000, 0.8, chains=2),)
"""A quarter of a published fit: weights are judged by the same rule, so more of them fall short."""
STEP, LIMIT_N, EXACT = 0.13, 15_000.0, 0.25
"""Steps of the log load; what the boat pulls [N]; share of pulls that are read exactly."""
ENDS = (0, 2, 4)
"""Of the bands: both ends of 90% and the median."""


def read_loads(campaign: Campaign, log_load: np.ndarray, generator: np.random.Generator) -> Campaign:
    """Return the campaign in which a tester has read these loads [log N], at the anchor along the bottom."""
    number = len(log_load)
    step = np.exp(STEP * np.floor(log_load / STEP))
    exact = generator.random(number) < EXACT
    held = np.where(exact, np.exp(log_load), step)
    released = np.where(exact, np.exp(log_load), step * np.exp(STEP))
    beyond = held > LIMIT_N
    trials = campaign.trials.assign(
        held_n=np.where(beyond, LIMIT_N, held),
        released_n=np.where(beyond, np.inf, released),
        load_at="anchor",
    )
    return replace(campaign, trials=trials)


def choose_held_back(campaign: Campaign, number: int, most: int) -> np.ndarray:
    """Return which pulls are held back: those of one visit, then of a second one, up to so many."""
    visits = campaign.trials["seabed"].astype(str) + campaign.trials["visit"].astype(str)
    names = list(dict.fromkeys(visits))
    order = [names[(number + place) % len(names)] for place in range(len(names))]
    places = np.concatenate([np.flatnonzero(visits == name) for name in order])[:most]
    return np.isin(np.arange(len(visits)), places)


def fit_of(draws: Refit, campaign: Campaign, seed: int) -> Fit:
    """Return a refit as the fit of a campaign, members without a row left out."""
    inputs = lay_out(campaign)
    posterior = draws.posterior.sel(
        {dim: inputs[dim] for dim in draws.posterior.dims if dim in inputs.dims and dim != "component"}
    )
    tree = assemble(posterior, xr.Dataset(), xr.Dataset(), inputs, campaign, seed)
    tree.attrs = root_attributes(campaign, default_priors(), seed, "added")
    return Fit(tree, draws.verdict)


def run_campaign(
    refitter: Refitter, campaign: Campaign, truth: xr.Dataset, number: int, seed: int
) -> Outcome:
    """Return how updates compare with a refit, and the tails of what was held back."""
    start, generator = time.perf_counter(), np.random.default_rng([seed, number, 1])
    log_load, _ = set_pulls(lay_out(campaign), truth, generator)
    campaign = read_loads(campaign, log_load, generator)
    second = refit(refitter, lay_out(campaign), seed=seed + number + 1, efforts=EFFORTS)
    updates = [
        run_update(refitter, campaign, choose_held_back(campaign, number, most), second, seed + number)
        for most in HELD_BACK
    ]
    seconds = round(time.perf_counter() - start, 1)
    return {"campaign": number, "seed": seed, "updates": updates, "seconds": seconds}


def run_update(
    refitter: Refitter, campaign: Campaign, held_back: np.ndarray, second: Refit, seed: int
) -> Outcome:
    """Return how an update by the pulls that are held back compares with the fit of all."""
    log = replace(campaign, trials=campaign.trials[~held_back])
    rows = campaign.trials[held_back]
    first = refit(refitter, hide_pulls(lay_out(campaign), held_back), seed=seed, efforts=EFFORTS)
    draws = draws_of(fit_of(first, log, seed))
    inputs = lay_out_with(draws.fit.tree, rows)
    update = updated_draws(draws, inputs)
    weights = update.weights
    errors = compared(update.draws["log_capacity"], update.weight, first.posterior, second.posterior)
    tails = surprise(draws, inputs, rows, dict.fromkeys(rows.index))
    return {
        "pulls": len(rows),
        "verdicts": [first.verdict.ok, second.verdict.ok],
        "pareto_k": round(weights.pareto_k, 3),
        "effective": round(weights.effective, 1),
        "trusted": weights.trusted,
        "rough": weights.rough,
        "holds": update.holds.ravel().tolist(),
        "errors": errors,
        "tails": [round(tail, 4) for tail in tails["tail"]],
        "exact": (rows["held_n"] == rows["released_n"]).tolist(),
    }


def compared(
    updated: np.ndarray, weight: np.ndarray, before: xr.Dataset, after: xr.Dataset
) -> dict[str, list[list[float]]]:
    """Return what the update and the first fit miss of the refit, each end of each cell.

    ``z`` is the update's difference in standard errors of both, ``off`` the same in standard deviations of
    the cell, ``before_off`` that of the first fit without any update; lists of (end, cell).
    """
    old, new = (
        each["log_capacity"].transpose("chain", "draw", "anchor", "seabed") for each in (before, after)
    )
    flat = old.to_numpy().reshape(-1, *old.shape[2:])
    again = new.to_numpy().reshape(flat.shape)
    even = np.full(len(flat), 1.0 / len(flat))
    after_add, first, refitted = (
        weighted_bands(values, share)[..., ENDS]
        for values, share in ((updated, weight), (flat, even), (again, even))
    )
    sd = again.std(axis=0)[..., None]
    share = independent_share(old), independent_share(new)
    number = share[0] / (weight**2).sum(), share[1] * len(flat)
    error = QUANTILE_ERROR * sd * np.sqrt(1.0 / number[0] + 1.0 / number[1])[..., None]
    numbers = {
        "z": (after_add - refitted) / error,
        "off": (after_add - refitted) / sd,
        "before_off": (first - refitted) / sd,
    }
    return {
        name: np.moveaxis(values, -1, 0).reshape(len(ENDS), -1).round(3).tolist()
        for name, values in numbers.items()
    }


def independent_share(draws: xr.DataArray) -> np.ndarray:
    """Return the share of independent draws of each cell, at most 1, shape (anchor, seabed)."""
    number = array_stats.ess(draws.to_numpy(), chain_axis=0, draw_axis=1)
    return np.minimum(number / (draws.shape[0] * draws.shape[1]), 1.0)


def progress_of(outcome: Outcome) -> str:
    """Return one campaign in a few words."""
    parts = [
        f"{each['pulls']} pulls, k {each['pareto_k']}, {each['effective']:.0f} draws, trusted "
        f"{each['trusted']}, holds {np.mean(each['holds']):.0%}, "
        f"z {np.sqrt((np.array(each['errors']['z']) ** 2).mean()):.2f}"
        for each in outcome["updates"]
    ]
    return f"campaign {outcome['campaign']}: {'; '.join(parts)}; {outcome['seconds']:.0f} s"


def main(words: Sequence[str] | None = None) -> int:
    """Run what the file does not hold yet, then write the page."""
    layout = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=layout)
    parser.add_argument("--campaigns", type=int, default=20)
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a campaign")
    parser.add_argument("--table", type=Path, help="also write the figures into this page (Markdown)")
    options = parser.parse_args(words)
    logging.getLogger("pymc").setLevel(logging.WARNING)
    done = {each["campaign"] for each in of_one_version(read_outcomes(options.out), SEED)}
    missing = [number for number in range(options.campaigns) if number not in done]
    if missing:
        campaign = make_campaign()
        refitter = prepare(lay_out(campaign), default_priors())
        truths = draw_truths(refitter, SEED, 0)

        def run(number: int) -> Outcome:
            return run_campaign(refitter, campaign, truths.isel(draw=[number % BLOCK]), number, SEED)

        run_each(missing, run, options.out, progress_of)
    outcomes = of_one_version(read_outcomes(options.out), SEED)
    if not outcomes:
        tell(f"added_trials: {options.out} holds no campaign yet")
        return 2
    flags = f"--campaigns {len(outcomes)} --out docs/added.jsonl --table docs/add.md"
    command = f"python scripts/evidence/added_trials.py {flags}"
    text = page(sorted(outcomes, key=lambda each: each["campaign"]), command)
    write_or_print(text, options.table)
    return 0


if __name__ == "__main__":
    sys.exit(main())

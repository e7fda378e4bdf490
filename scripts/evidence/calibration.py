"""Simulation-based calibration: draw a truth from the prior, simulate a log, refit, rank the truth.

    python scripts/evidence/calibration.py --campaigns 300 --out calibration.jsonl --figure calibration.svg

Each campaign is one JSON line, written when it is done; the same command goes on where it stopped. A quantity
whose ranks are not even is named, and the exit status is 1.
"""

import argparse
import logging
import sys
from collections.abc import Sequence
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import numpy as np
import pymc as pm
import xarray as xr

from holdcast.capacity.model.priors import default_priors
from holdcast.capacity.plain_evaluation import AS_IT_STANDS
from holdcast.capacity.pointwise.pulls import pull_draws
from holdcast.capacity.symbols import only_serves_sampling
from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.outcomes import OutcomesError, read_outcomes
from holdcast.evaluate.refit import Refit, Refitter, prepare, refit
from pages.calibration_table import calibration_table, failing, save_figure
from simulated.calibration_layout import NEW_SEABED, NEW_SIZE, make_layout, read_loads
from simulated.calibration_setting import read_resets, read_veers, set_pulls
from simulated.campaign_runs import Outcome, of_one_version, run_each, tell
from simulated.ranks import rank_among

SEED = 20_260_612
BLOCK = 50  # truths drawn at once; a campaign's truth depends on its number alone
THINNED = 100
SURFACES = {"log_capacity": "cell", "sets_log_odds": "sets", "resets_log_odds": "resets", "turn": "turn"}
"""Quantities of each cell and how they are called: of `turn`, what a turn costs."""
CELL_CLASSES = ("tested", "untested", "new size", "new seabed", "new size in new seabed")


def arguments() -> argparse.Namespace:
    """Read the command line."""
    layout = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=layout)
    parser.add_argument("--campaigns", type=int, default=300)
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a campaign")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--figure", type=Path, help="also draw rank distributions with their bands (SVG)")
    parser.add_argument("--table", action="store_true", help="only show what the file holds")
    return parser.parse_args()


def draw_truths(refitter: Refitter, seed: int, block: int) -> xr.Dataset:
    """Return a block of truths: every variable of the model, drawn by the model itself from its prior."""
    names = [variable.name for variable in refitter.model.unobserved_RVs]
    wanted = [name for name in names if not only_serves_sampling(name)]
    drawn = pm.sample_prior_predictive(
        BLOCK,
        model=refitter.model,
        var_names=[*wanted, "log_load"],
        random_seed=int(np.random.SeedSequence([seed, block]).generate_state(1)[0]),
        compile_kwargs={"mode": AS_IT_STANDS},
    )
    loads = drawn["prior_predictive"].to_dataset()
    return xr.merge([drawn["prior"].to_dataset(), loads], compat="no_conflicts")


def read_truth(layout: xr.Dataset, truth: xr.Dataset, generator: np.random.Generator) -> xr.Dataset:
    """Return the inputs in which a tester has seen one truth, dims chain and draw of size 1."""
    soil = layout["soil_of"][layout["seabed_of"]]
    rate = truth["rate_per_decade"].isel(chain=0, draw=0, soil=soil).to_numpy()
    log_load, did_set = set_pulls(layout, truth, generator)
    # An unset anchor slides at the load that is read, whatever angle and speed.
    fall, rate = (np.where(did_set, each, 0.0) for each in (float(truth["strength_of_fall"].squeeze()), rate))
    inputs = read_loads(layout, log_load, fall, rate, did_set)
    if inputs.sizes["reset"]:
        inputs = read_resets(inputs, truth, generator)
    return read_veers(inputs, truth, generator) if inputs.sizes["veer"] else inputs


def cell_classes(inputs: xr.Dataset) -> xr.DataArray:
    """Return what each cell is to the log, dims (anchor, seabed)."""
    tested = inputs["pull_weight"] > 0
    size, seabed = inputs["anchor"] == NEW_SIZE, inputs["seabed"] == NEW_SEABED
    both = xr.where(size & seabed, CELL_CLASSES[4], xr.where(seabed, CELL_CLASSES[3], CELL_CLASSES[2]))
    return xr.where(size | seabed, both, xr.where(tested, CELL_CLASSES[0], CELL_CLASSES[1]))


def quantities(
    draws: xr.Dataset, inputs: xr.Dataset, picked: dict[str, tuple[int, int]]
) -> dict[str, np.ndarray]:
    """Return every ranked quantity by name, each of shape (sample,).

    All hyperparameters; one cell of each class, drawn anew for each campaign, and the class's mean; and the
    log likelihood of the whole log, which sees what no single parameter does (Modrák et al. 2023,
    arXiv:2211.02383, value from memory).
    """
    ranked: dict[str, np.ndarray] = {}
    for name in default_priors():
        if name in draws:
            samples = draws[name].stack(sample=("chain", "draw"))
            for place in np.ndindex(samples.shape[:-1]):
                labels = [
                    str(samples[dim].to_numpy()[at]) for dim, at in zip(samples.dims, place, strict=False)
                ]
                ranked[f"{name}{f' ({", ".join(labels)})' if labels else ''}"] = samples.to_numpy()[place]
    for name in ("rate_per_decade", "pull_scatter", "instrument_error"):
        samples = draws[name].stack(sample=("chain", "draw"))
        for at, label in enumerate(samples[samples.dims[0]].to_numpy()):
            ranked[f"{name} ({label})"] = samples.to_numpy()[at]
    classes = cell_classes(inputs)
    for name, cells in SURFACES.items():
        surface = draws[name].stack(sample=("chain", "draw"))
        for kind, (anchor, seabed) in picked.items():
            ranked[f"{cells}, {kind}"] = surface.isel(anchor=anchor, seabed=seabed).to_numpy()
            if int((classes == kind).sum()) > 1:
                mean = surface.where(classes == kind).mean(("anchor", "seabed"))
                ranked[f"mean of {cells.rstrip('s')}s, {kind}"] = mean.to_numpy()
    ranked["log likelihood"] = pull_draws(draws, inputs).log_likelihood.sum(axis=-1).ravel()
    return ranked


def pick_cells(inputs: xr.Dataset, generator: np.random.Generator) -> dict[str, tuple[int, int]]:
    """Return one cell of each class."""
    classes = cell_classes(inputs).transpose("anchor", "seabed").to_numpy()
    picked = {}
    for kind in CELL_CLASSES:
        places = np.argwhere(classes == kind)
        anchor, seabed = places[generator.integers(len(places))]
        picked[kind] = (int(anchor), int(seabed))
    return picked


def run_campaign(
    refitter: Refitter, layout: xr.Dataset, truths: xr.Dataset, number: int, seed: int
) -> dict[str, Any]:
    """Return the ranks of one campaign's truth."""
    truth = truths.isel(draw=[number % BLOCK])
    inputs = read_truth(layout, truth, np.random.default_rng([seed, number, 1]))
    refitted: Refit = refit(refitter, inputs, seed=seed + number)
    picked = pick_cells(layout, np.random.default_rng([seed, number]))
    drawn, true = quantities(refitted.posterior, inputs, picked), quantities(truth, inputs, picked)
    verdict = refitted.verdict
    return {
        "campaign": number,
        "seed": seed,
        "thinned": THINNED,
        "ok": verdict.ok,
        "attempts": verdict.attempts,
        "divergences": verdict.divergences,
        "draws": verdict.draws,
        "seconds": round(verdict.seconds_sample, 2),
        "ranks": {name: rank_among(float(true[name][0]), values, THINNED) for name, values in drawn.items()},
    }


def run_missing(options: argparse.Namespace, outcomes: Sequence[dict[str, Any]]) -> None:
    """Run every campaign that has no outcome yet."""
    done = {(outcome["campaign"], outcome["seed"], outcome["model"]) for outcome in outcomes}
    missing = [n for n in range(options.campaigns) if (n, options.seed, model_digest()) not in done]
    if not missing:
        return
    tell("compiling the model: about a minute the first time")
    layout = make_layout()
    refitter = prepare(layout, default_priors())
    truths = lru_cache(maxsize=1)(partial(draw_truths, refitter, options.seed))

    def run(number: int) -> Outcome:
        return run_campaign(refitter, layout, truths(number // BLOCK), number, options.seed)

    run_each(missing, run, options.out, lambda outcome: f"verdict {'good' if outcome['ok'] else 'BAD'}")


def main() -> int:
    """Run what the file does not hold yet, then show the ranks."""
    options = arguments()
    logging.getLogger("pymc").setLevel(logging.WARNING)
    try:
        outcomes = read_outcomes(options.out)
    except OutcomesError as error:
        tell(f"calibration: {error}")
        return 2
    if not options.table:
        run_missing(options, outcomes)
    mine = of_one_version(read_outcomes(options.out), options.seed)
    print(calibration_table(mine))
    if options.figure and mine:
        save_figure(mine, options.figure)
    return 1 if failing(mine) else 0


if __name__ == "__main__":
    sys.exit(main())

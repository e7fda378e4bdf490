"""What the angle of the fluke is worth to hidden cells, where it matters as published and where it does not.

    PYTHONPATH=scripts/evidence python -m grounds.fluke_angles --campaigns 8 --out angles.jsonl

Each campaign is fitted twice, with the angles of its log and as if nobody had written them down, and is one
JSON line in the file, written when it is done; the same command goes on where it stopped.  ``--first N``
begins at another campaign number.  ``--table`` only prints what the file holds.
"""

import argparse
import logging
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.model.priors import default_priors
from holdcast.evaluate.outcomes import read_outcomes
from holdcast.evaluate.refit import Refitter, prepare, refit
from invented.campaign import make_campaign
from invented.truth import ANGLE_WORLDS, DESIGN_OF, STEEP_ANGLES
from simulated.campaign_runs import Outcome, of_one_version, run_each

SEED = 20_261_201
QUANTILES = (0.05, 0.5, 0.95)
WAYS = ("without", "with")
_TWO_ANGLES = sorted({int(DESIGN_OF[anchor]) for anchor in STEEP_ANGLES})
GROUPS: dict[str, list[int]] = {
    "all": list(range(len(DESIGN_OF))),
    "designs of two angles": [int(anchor) for anchor in np.flatnonzero(np.isin(DESIGN_OF, _TWO_ANGLES))],
    "steep": list(STEEP_ANGLES),
}


def without_angles(inputs: xr.Dataset) -> xr.Dataset:
    """Return what the model is told of a log as if nobody had written the angles down."""
    return inputs.isel(angle_ground=slice(0, 0), angle_ground_other=slice(0, 0)).assign(
        fluke_angle_steps=xr.zeros_like(inputs["fluke_angle_steps"])
    )


def run_campaign(world: str, number: int, refitters: dict[str, Refitter]) -> Outcome:
    """Return the hidden cells' truth and their bands, with and without the angles."""
    truth, _, hidden, inputs = make_campaign(world, number, SEED)
    outcome: Outcome = {"world": world, "campaign": number, "seed": SEED}
    outcome["anchors"] = [int(anchor) for anchor in np.nonzero(hidden)[0]]
    outcome["truth"] = truth.log_capacity[hidden].round(4).tolist()
    for way in WAYS:
        told = inputs if way == "with" else without_angles(inputs)
        fitted = refit(refitters[way], told, seed=SEED + number)
        bands = fitted.posterior["log_capacity"].quantile(QUANTILES, dim=("chain", "draw")).to_numpy()
        verdict = fitted.verdict
        outcome[way] = {
            "bands": bands[:, hidden].round(4).tolist(),
            "ok": verdict.ok,
            "attempts": verdict.attempts,
            "divergences": verdict.divergences,
            "seconds": round(verdict.seconds_sample, 1),
        }
        if way == "with":
            slopes = fitted.posterior["fluke_angle_slope"]
            outcome["slope"] = slopes.mean(("chain", "draw")).to_numpy().round(3).tolist()
            outcome["slope_sd"] = slopes.std(("chain", "draw")).to_numpy().round(3).tolist()
    return outcome


def table(outcomes: Sequence[Outcome]) -> list[str]:
    """Return a table of errors, coverage and width of the hidden cells, by world and group of anchors."""
    lines = [
        "| world | cells | number | error without | with | ratio | 90% bands hold without | with | width "
        "without | with |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for world in dict.fromkeys(outcome["world"] for outcome in outcomes):
        mine = [outcome for outcome in outcomes if outcome["world"] == world]
        lines += [_line(mine, world, group) for group in GROUPS]
        for way in WAYS:
            divergences = sum(outcome[way]["divergences"] for outcome in mine)
            good = sum(outcome[way]["ok"] for outcome in mine)
            lines.append(f"  {way}: {divergences} divergences, {good} of {len(mine)} verdicts good")
    return lines


def _line(outcomes: Sequence[Outcome], world: str, group: str) -> str:
    scores = {way: np.array([_scores(outcome, way, group) for outcome in outcomes]) for way in WAYS}
    cells = scores["with"][:, 0].sum()
    error = {way: np.sqrt(score[:, 1].sum() / cells) for way, score in scores.items()}
    ratio, ratio_error = _ratio(scores["with"][:, 1], scores["without"][:, 1])
    held = [f"{100 * scores[way][:, 2].sum() / cells:.1f}" for way in WAYS]
    width = [f"{scores[way][:, 3].sum() / cells:.3f}" for way in WAYS]
    numbers = [f"{error[way]:.4f}" for way in WAYS]
    return (
        " | ".join(
            [f"| {world}", group, f"{cells:.0f}", *numbers, f"{ratio:.3f} ± {ratio_error:.3f}", *held, *width]
        )
        + " |"
    )


def _scores(outcome: dict[str, Any], way: str, group: str) -> tuple[float, float, float, float]:
    """Return how many hidden cells, their squared error, how many bands held, and the bands' widths."""
    mine = np.isin(outcome["anchors"], GROUPS[group])
    truth = np.array(outcome["truth"])[mine]
    low, middle, high = np.array(outcome[way]["bands"])[:, mine]
    inside = (low <= truth) & (truth <= high)
    return (
        float(mine.sum()),
        float(((middle - truth) ** 2).sum()),
        float(inside.sum()),
        float((high - low).sum()),
    )


def _ratio(after: NDArray[np.float64], before: NDArray[np.float64]) -> tuple[float, float]:
    """Return the ratio of root mean squared errors, and its standard error by leaving out campaigns."""
    every = float(np.sqrt(after.sum() / before.sum()))
    n = len(after)
    less = np.sqrt((after.sum() - after) / (before.sum() - before)) if n > 1 else np.full(1, np.nan)
    return every, float(np.sqrt((n - 1) / n * ((less - less.mean()) ** 2).sum()))


def main() -> int:
    """Run what the file does not hold yet, then print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--campaigns", type=int, default=8, help="campaigns of each world")
    parser.add_argument("--first", type=int, default=0, help="number of the first campaign")
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a campaign")
    parser.add_argument("--table", action="store_true", help="only print the table of what the file holds")
    options = parser.parse_args()
    logging.getLogger("pymc").setLevel(logging.ERROR)
    numbers = range(options.first, options.first + options.campaigns)
    done = {(each["world"], each["campaign"]) for each in of_one_version(read_outcomes(options.out), SEED)}
    missing = [(world, number) for number in numbers for world in ANGLE_WORLDS if (world, number) not in done]
    if missing and not options.table:
        # Chains start near a point that the compiled campaign tells: always the same one.
        inputs = make_campaign(next(iter(ANGLE_WORLDS)), 0, SEED)[3]
        both = {"with": inputs, "without": without_angles(inputs)}
        refitters = {way: prepare(told, default_priors()) for way, told in both.items()}
        run_each(missing, lambda task: run_campaign(*task, refitters), options.out, _said)
    outcomes = of_one_version(read_outcomes(options.out), SEED)
    print("\n".join(table([each for each in outcomes if each["campaign"] in numbers])))
    return 0


def _said(outcome: Outcome) -> str:
    good = ", ".join(f"{way} {'good' if outcome[way]['ok'] else 'BAD'}" for way in WAYS)
    return f"{outcome['world']} {outcome['campaign']}: {good}, slopes {outcome['slope']}"


if __name__ == "__main__":
    sys.exit(main())

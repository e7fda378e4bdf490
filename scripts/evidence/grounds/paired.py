"""The same invented logs fitted with and without a column: error, coverage and width of the hidden cells."""

import argparse
import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import expit

from holdcast.capacity.model.priors import default_priors
from holdcast.evaluate.outcomes import read_outcomes
from holdcast.evaluate.refit import Refitter, prepare, refit
from invented.campaign import make_campaign
from simulated.campaign_runs import Outcome, of_one_version, run_each

__all__ = ["Comparison", "compare"]

QUANTILES = (0.05, 0.5, 0.95)
WAYS = ("without", "with")
Where = Callable[[NDArray[np.int64], NDArray[np.int64]], NDArray[np.bool_]]


@dataclass(frozen=True)
class Comparison:
    """What is compared.

    Attributes
    ----------
    seed : int
    worlds : names of invented worlds of one layout.
    without : what the model is told of a log as if nobody had filled the column.
    groups : name of a group of cells to a function of their anchors and seabeds (places) that picks them.
    learnt : variable of the model whose mean and standard deviation each outcome keeps.
    """

    seed: int
    worlds: Sequence[str]
    without: Callable[[xr.Dataset], xr.Dataset]
    groups: Mapping[str, Where]
    learnt: str


def compare(about: Comparison, description: str) -> int:
    """Run what the file of outcomes does not hold yet, then print the table."""
    shown = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=description, formatter_class=shown)
    parser.add_argument("--campaigns", type=int, default=8, help="campaigns of each world")
    parser.add_argument("--first", type=int, default=0, help="number of the first campaign")
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a campaign")
    parser.add_argument("--table", action="store_true", help="only print the table of what the file holds")
    options = parser.parse_args()
    logging.getLogger("pymc").setLevel(logging.ERROR)
    numbers = range(options.first, options.first + options.campaigns)
    earlier = of_one_version(read_outcomes(options.out), about.seed)
    done = {(each["world"], each["campaign"]) for each in earlier}
    missing = [(world, number) for number in numbers for world in about.worlds if (world, number) not in done]
    if missing and not options.table:
        # Chains start near a point that the compiled campaign tells: always the same one.
        inputs = make_campaign(about.worlds[0], 0, about.seed)[3]
        both = {"with": inputs, "without": about.without(inputs)}
        refitters = {way: prepare(told, default_priors()) for way, told in both.items()}
        run_each(missing, lambda task: _run(about, *task, refitters), options.out, _said)
    outcomes = of_one_version(read_outcomes(options.out), about.seed)
    print("\n".join(table(about, [each for each in outcomes if each["campaign"] in numbers])))
    return 0


def _run(about: Comparison, world: str, number: int, refitters: dict[str, Refitter]) -> Outcome:
    """Return the hidden cells' truth and their bands, with and without the column."""
    truth, _, hidden, inputs = make_campaign(world, number, about.seed)
    outcome: Outcome = {"world": world, "campaign": number, "seed": about.seed}
    outcome["anchors"], outcome["seabeds"] = (place.tolist() for place in np.nonzero(hidden))
    outcome["truth"] = truth.log_capacity[hidden].round(4).tolist()
    if truth.setting is not None:
        outcome["sets"] = truth.setting.sets[hidden].round(4).tolist()
    for way in WAYS:
        told = inputs if way == "with" else about.without(inputs)
        fitted = refit(refitters[way], told, seed=about.seed + number)
        verdict = fitted.verdict
        outcome[way] = {
            "bands": _bands(fitted.posterior["log_capacity"], hidden),
            "sets_bands": _bands(expit(fitted.posterior["sets_log_odds"]), hidden),
            "ok": verdict.ok,
            "attempts": verdict.attempts,
            "divergences": verdict.divergences,
            "seconds": round(verdict.seconds_sample, 1),
        }
        if way == "with":
            learnt = fitted.posterior[about.learnt]
            outcome["learnt"] = learnt.mean(("chain", "draw")).to_numpy().round(3).tolist()
            outcome["learnt_sd"] = learnt.std(("chain", "draw")).to_numpy().round(3).tolist()
    return outcome


def _bands(draws: xr.DataArray, hidden: NDArray[np.bool_]) -> list[list[float]]:
    bands = draws.quantile(QUANTILES, dim=("chain", "draw")).transpose("quantile", "anchor", "seabed")
    rounded: list[list[float]] = bands.to_numpy()[:, hidden].round(4).tolist()
    return rounded


def _said(outcome: Outcome) -> str:
    good = ", ".join(f"{way} {'good' if outcome[way]['ok'] else 'BAD'}" for way in WAYS)
    return f"{outcome['world']} {outcome['campaign']}: {good}, learnt {outcome['learnt']}"


def table(about: Comparison, outcomes: Sequence[Outcome]) -> list[str]:
    """Return a table of errors, coverage and width of the hidden cells, by world and group of cells."""
    lines = [
        "| world | of | hidden cells | number | error without | with | ratio | 90% bands hold, without and "
        "with | width, without and with |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for world in dict.fromkeys(outcome["world"] for outcome in outcomes):
        mine = [outcome for outcome in outcomes if outcome["world"] == world]
        lines += [_line(mine, world, group, where, "capacity") for group, where in about.groups.items()]
        if "sets" in mine[0]:
            lines += [_line(mine, world, group, where, "setting") for group, where in about.groups.items()]
        for way in WAYS:
            divergences = sum(outcome[way]["divergences"] for outcome in mine)
            good = sum(outcome[way]["ok"] for outcome in mine)
            lines.append(f"  {way}: {divergences} divergences, {good} of {len(mine)} verdicts good")
    return lines


def _line(outcomes: Sequence[Outcome], world: str, group: str, where: Where, of: str) -> str:
    scores = {way: np.array([_scores(outcome, way, where, of) for outcome in outcomes]) for way in WAYS}
    cells = scores["with"][:, 0].sum()
    error = {way: np.sqrt(score[:, 1].sum() / cells) for way, score in scores.items()}
    ratio, ratio_error = _ratio(scores["with"][:, 1], scores["without"][:, 1])
    inside, width = ({way: scores[way][:, column].sum() / cells for way in WAYS} for column in (2, 3))
    columns = [
        *(world, of, group, f"{cells:.0f}"),
        *(f"{error[way]:.3f}" for way in WAYS),
        f"{ratio:.3f} ± {ratio_error:.3f}",
        ", ".join(f"{100 * inside[way]:.1f}" for way in WAYS) + "%",
        ", ".join(f"{width[way]:.2f}" for way in WAYS),
    ]
    return f"| {' | '.join(columns)} |"


def _scores(outcome: dict[str, Any], way: str, where: Where, of: str) -> tuple[float, float, float, float]:
    """Return how many hidden cells, their squared error, how many bands held, and the bands' widths."""
    mine = where(np.array(outcome["anchors"]), np.array(outcome["seabeds"]))
    truth_name, bands_name = {"capacity": ("truth", "bands"), "setting": ("sets", "sets_bands")}[of]
    truth = np.array(outcome[truth_name])[mine]
    low, middle, high = np.array(outcome[way][bands_name])[:, mine]
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

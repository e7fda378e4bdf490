"""What other priors of designs and days would say of invented logs, by weights from one fit of each.

    PYTHONPATH=scripts/evidence python -m grounds.other_priors --out docs/other_priors.jsonl
    PYTHONPATH=scripts/evidence python -m grounds.other_priors --worlds nine --campaigns 4 --out worlds.jsonl

The first fits logs of two grounds, the second campaigns of the nine worlds (or, `setting`, of those in which
pulls do not set, share spots or have days of their own).  Each log is fitted once, with
priors wider than all that are compared; each candidate weighs its draws by the ratio of the densities of the
two priors (importance sampling, an identity).  One JSON line a log in the file, written when it is done; the
same command goes on where it stopped.  ``--table`` only prints what it holds.
"""

import argparse
import logging
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy import stats

from grounds.handbook_logs import QUANTILES, SEED, refitters
from grounds.layout import KINDS, draw_log
from holdcast.capacity.model.design_parts import PARTS
from holdcast.capacity.model.priors import Prior, with_overrides
from holdcast.capacity.sampler.sampling import Effort
from holdcast.evaluate.outcomes import read_outcomes
from holdcast.evaluate.refit import Refitter, prepare, refit
from invented.campaign import make_campaign
from invented.truth import SETTING_WORLDS, WORLDS
from pages.version import version_line
from simulated.campaign_runs import Outcome, of_one_version, run_each

EFFORT = Effort(600, 1000, 0.9, chains=2)
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Candidate:
    """Priors to be compared: (median, log_sd) of two spreads, and weights of the parts of `PARTS`."""

    design_spread: tuple[float, float]
    design_share: tuple[float, ...]
    visit_spread: tuple[float, float] = (0.15, 0.5)

    def log_density(self, draws: xr.Dataset) -> Array:
        """Return the log density of the draws' spreads and shares, but for a constant, shape (sample,)."""
        log_spread, log_visit = (
            np.log(draws[name].to_numpy().ravel()) for name in ("design_spread", "visit_spread")
        )
        share = draws["design_share"].transpose(..., "part").to_numpy().reshape(len(log_spread), -1)
        of_spreads = [
            stats.norm.logpdf(values, np.log(median), log_sd)
            for values, (median, log_sd) in ((log_spread, self.design_spread), (log_visit, self.visit_spread))
        ]
        return np.asarray(sum(of_spreads) + (np.log(share) * (np.array(self.design_share) - 1.0)).sum(axis=1))


HALVED, OWN = (1.0, 1.0, 1.0, 0.5, 0.5, 1.0), (1.0, 1.0, 2.0, 0.5, 0.5, 1.0)
_BEFORE = "0.35, 0.4; 2 2 2 1 1 2; 0.15, 0.5"
FITTED = Candidate((0.35, 0.7), HALVED)
CANDIDATES = {  # by spread of designs; weights of its parts; spread of visits
    _BEFORE: Candidate((0.35, 0.4), (2.0, 2.0, 2.0, 1.0, 1.0, 2.0)),
    "0.35, 0.7; 2 2 2 1 1 2; 0.15, 0.5": Candidate((0.35, 0.7), (2.0, 2.0, 2.0, 1.0, 1.0, 2.0)),
    "0.35, 0.7; 1 1 1 ½ ½ 1; 0.15, 0.5": FITTED,
    "0.45, 0.5; 1 1 2 ½ ½ 1; 0.15, 0.5": Candidate((0.45, 0.5), OWN),
    "0.45, 0.5; 1 1 2 ½ ½ 1; 0.18, 0.5": Candidate((0.45, 0.5), OWN, (0.18, 0.5)),
    "0.5, 0.4; 1 1 2 ½ ½ 1; 0.15, 0.5": Candidate((0.5, 0.4), OWN),
    "0.5, 0.4; 1 1 2 ½ ½ 1; 0.18, 0.5": Candidate((0.5, 0.4), OWN, (0.18, 0.5)),
}


def overrides() -> dict[str, dict[str, object]]:
    """Return the priors that are fitted, as changes of the program's."""
    median, log_sd = FITTED.design_spread
    shares: dict[str, object] = dict(zip(PARTS, FITTED.design_share, strict=True))
    return {"design_spread": {"median": median, "log_sd": log_sd}, "design_share": shares}


def scores_by_candidate(
    truth: Array, groups: Mapping[str, NDArray[np.bool_]], draws: xr.Dataset
) -> Mapping[str, Mapping[str, list[float]]]:
    """Return `_scores` by candidate and group of cells, and how many draws its weights leave.

    Truth and groups have the shape (anchor, seabed).
    """
    capacity = draws["log_capacity"].transpose("chain", "draw", "anchor", "seabed").to_numpy()
    capacity = capacity.reshape(-1, *capacity.shape[2:])
    fitted = FITTED.log_density(draws)
    found: dict[str, dict[str, list[float]]] = {}
    for name, candidate in CANDIDATES.items():
        log_weight = candidate.log_density(draws) - fitted
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        found[name] = {
            group: _scores(truth[where], capacity[:, where], weight) for group, where in groups.items()
        }
        found[name]["draws"] = [round(float(1.0 / (weight**2).sum()), 1)]
    return found


def _scores(truth: Array, draws: Array, weight: Array) -> list[float]:
    """Return coverage of 90 and 50% bands, mean width of the first and rms error of the medians [log N]."""
    low, lower, middle, upper, high = np.quantile(
        draws, QUANTILES, axis=0, weights=np.broadcast_to(weight[:, None], draws.shape), method="inverted_cdf"
    )
    return [
        round(float(each), 4)
        for each in (
            np.mean((low <= truth) & (truth <= high)),
            np.mean((lower <= truth) & (truth <= upper)),
            np.mean(high - low),
            np.sqrt(np.mean((middle - truth) ** 2)),
        )
    ]


def run_log(refitter: Refitter, kind: str, number: int) -> Outcome:
    """Return the scores of one log of two grounds under each candidate."""
    log = draw_log(KINDS[kind], np.random.default_rng([SEED, list(KINDS).index(kind), number]))
    groups = {"block": log.block, "single": log.single, "tested": ~(log.block | log.single)}
    return _outcome(refitter, kind, number, log.inputs, log.truth, groups)


def run_world(refitter: Refitter, world: str, number: int) -> Outcome:
    """Return the scores of one campaign of an invented world under each candidate."""
    truth, _, hidden, inputs = make_campaign(world, number, SEED)
    return _outcome(
        refitter, world, number, inputs, truth.log_capacity, {"hidden": hidden, "tested": ~hidden}
    )


def _of_a_world(priors: Mapping[str, Prior], world: str) -> Refitter:
    return prepare(make_campaign(world, 0, SEED)[3], priors)


def _outcome(
    refitter: Refitter,
    kind: str,
    number: int,
    inputs: xr.Dataset,
    truth: Array,
    groups: Mapping[str, NDArray[np.bool_]],
) -> Outcome:
    fitted = refit(refitter, inputs, seed=SEED + number, efforts=(EFFORT,))
    return {
        "kind": kind,
        "campaign": number,
        "seed": SEED,
        "divergences": fitted.verdict.divergences,
        "scores": scores_by_candidate(truth, groups, fitted.posterior),
    }


def table_lines(outcomes: Sequence[Outcome]) -> list[str]:
    """Return the scores as a table in Markdown, means over logs with one standard error of the coverage."""
    lines = [
        "| logs | cells | priors | 90% bands cover | 50% bands cover | width of 90% bands, × | error | "
        "draws that count |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for kind in dict.fromkeys(each["kind"] for each in outcomes):
        own = [each["scores"] for each in outcomes if each["kind"] == kind]
        for group in ("block", "hidden", "tested"):
            if group not in own[0][_BEFORE]:
                continue
            for name in own[0]:
                every = np.array([each[name][group] for each in own])
                (wide, narrow, width, error), n = every.mean(axis=0), len(every)
                spread = every[:, 0].std(ddof=1) / np.sqrt(n) if n > 1 else np.nan
                left = np.mean([each[name]["draws"][0] for each in own])
                lines.append(
                    f"| {kind}, {n} | {group} | {name} | {wide:.1%} ± {spread:.1%} | {narrow:.1%} | "
                    f"{np.exp(width):.2f} | {error:.3f} | {left:.0f} |"
                )
    return lines


def main(words: Sequence[str] | None = None) -> int:
    """Run what the file does not hold yet, then print the table."""
    shown = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shown)
    parser.add_argument("--campaigns", type=int, default=16, help="logs of each kind")
    parser.add_argument("--first", type=int, default=40, help="number of the first log")
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a log")
    parser.add_argument("--table", action="store_true")
    parser.add_argument("--worlds", choices=["nine", "setting"], help="campaigns of invented worlds")
    asked = parser.parse_args(words)
    logging.getLogger("pymc").setLevel(logging.WARNING)
    outcomes = of_one_version(read_outcomes(asked.out), SEED)
    done = {(each["kind"], each["campaign"]) for each in outcomes}
    numbers = range(asked.first, asked.first + asked.campaigns)
    kinds = {"nine": WORLDS, "setting": SETTING_WORLDS}.get(asked.worlds, KINDS)
    missing = [(kind, number) for number in numbers for kind in kinds if (kind, number) not in done]
    if missing and not asked.table:
        priors = with_overrides(overrides())
        refitter_of = cache(partial(_of_a_world, priors)) if asked.worlds else refitters(priors)
        run_one = run_world if asked.worlds else run_log

        def run(each: tuple[str, int]) -> Outcome:
            return run_one(refitter_of(each[0]), *each)

        run_each(missing, run, asked.out, lambda each: f"{each['kind']} {each['campaign']}")
    outcomes = of_one_version(read_outcomes(asked.out), SEED)
    print("\n".join([*table_lines(outcomes), "", version_line(each["model"] for each in outcomes)]))
    return 0


if __name__ == "__main__":
    sys.exit(main())

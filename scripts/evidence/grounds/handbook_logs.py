r"""Bands of hidden cells where designs differ between two grounds and each was pulled on a day of its own.

    PYTHONPATH=scripts/evidence python -m grounds.handbook_logs --first 80 --campaigns 4 \
        --out docs/two_grounds.jsonl

Each log is one JSON line in the file, written when it is done; the same command goes on where it stopped.
``--prior NAME.PARAMETER=NUMBER`` changes a prior, for a comparison on the same logs.  ``--table`` only prints
what the file holds.
"""

import argparse
import logging
import sys
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path

import numpy as np

from grounds.layout import KINDS, draw_log
from holdcast.capacity.model.priors import Prior, with_overrides
from holdcast.evaluate.outcomes import read_outcomes
from holdcast.evaluate.refit import Refitter, prepare, refit
from pages.version import version_line
from simulated.campaign_runs import Outcome, of_one_version, run_each

SEED = 20_261_130
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


def changed_priors(words: Sequence[str]) -> dict[str, dict[str, object]]:
    """Return overrides of priors from words such as ``visit_spread.median=0.1``."""
    overrides: dict[str, dict[str, object]] = defaultdict(dict)
    for word in words:
        name, _, number = word.partition("=")
        prior, _, parameter = name.partition(".")
        overrides[prior][parameter] = float(number)
    return dict(overrides)


def refitters(priors: Mapping[str, Prior]) -> Callable[[str], Refitter]:
    """Return what gives the compiled model of a kind of log; kinds of one shape share it."""

    @cache
    def compiled(shared_days: bool) -> Refitter:
        kind = next(kind for kind in KINDS.values() if kind.shared_days == shared_days)
        return prepare(draw_log(kind, np.random.default_rng(0)).inputs, priors)

    return lambda kind: compiled(KINDS[kind].shared_days)


def run_log(refitter: Refitter, kind: str, number: int, prior: Sequence[str]) -> Outcome:
    """Return truth and bands of the hidden cells of one log."""
    log = draw_log(KINDS[kind], np.random.default_rng([SEED, list(KINDS).index(kind), number]))
    fitted = refit(refitter, log.inputs, seed=SEED + number)
    bands = fitted.posterior["log_capacity"].quantile(QUANTILES, dim=("chain", "draw")).to_numpy()
    spreads = {
        name: round(float(fitted.posterior[name].median()), 3) for name in ("visit_spread", "design_spread")
    }
    outcome: Outcome = {"kind": kind, "campaign": number, "seed": SEED, "prior": list(prior), **spreads}
    verdict = fitted.verdict
    outcome["verdict"] = {
        "ok": verdict.ok,
        "attempts": verdict.attempts,
        "divergences": verdict.divergences,
        "seconds": round(verdict.seconds_sample, 1),
    }
    for name, where in (("block", log.block), ("single", log.single), ("tested", ~(log.block | log.single))):
        outcome[name] = {
            "truth": log.truth[where].round(4).tolist(),
            "bands": bands[:, where].round(4).tolist(),
        }
    return outcome


def scores(outcomes: Sequence[Outcome], where: str) -> tuple[int, list[float]]:
    """Return the number of cells, coverage of 90 and 50% with the logs' standard error, width and error."""
    own = []
    for each in outcomes:
        truth, bands = np.array(each[where]["truth"]), np.array(each[where]["bands"])
        own.append(
            [
                np.mean((bands[0] <= truth) & (truth <= bands[4])),
                np.mean((bands[1] <= truth) & (truth <= bands[3])),
                np.mean(bands[4] - bands[0]),
                np.sqrt(np.mean((bands[2] - truth) ** 2)),
            ]
        )
    table = np.array(own)
    error = table[:, 0].std(ddof=1) / np.sqrt(len(table)) if len(table) > 1 else float("nan")
    mean = table.mean(axis=0)
    return sum(len(each[where]["truth"]) for each in outcomes), [*mean[:2], error, *mean[2:]]


def table_lines(outcomes: Sequence[Outcome]) -> list[str]:
    """Return the figures as a table in Markdown."""
    lines = [
        "| logs | priors | cells | number | 90% bands cover | 50% bands cover | width of 90% bands, × | "
        "error (rms of logs) | second attempts | visit_spread, design_spread |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    groups: dict[tuple[str, str], list[Outcome]] = defaultdict(list)
    for each in outcomes:
        groups[each["kind"], ", ".join(each["prior"]) or "as they are"].append(each)
    for (kind, prior), own in groups.items():
        again = sum(each["verdict"]["attempts"] > 1 for each in own)
        visit, design = (np.mean([each[name] for each in own]) for name in ("visit_spread", "design_spread"))
        for where in ("block", "single", "tested"):
            number, (wide, narrow, error, width, off) = scores(own, where)
            lines.append(
                f"| {kind} | {prior} | {where} | {number} | {wide:.1%} ± {error:.1%} | {narrow:.1%} | "
                f"{np.exp(width):.1f} | {off:.3f} | {again} of {len(own)} | {visit:.2f}, {design:.2f} |"
            )
    return lines


def main(words: Sequence[str] | None = None) -> int:
    """Run what the file does not hold yet, then print the table."""
    shown = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shown)
    parser.add_argument("--campaigns", type=int, default=6, help="logs of each kind")
    parser.add_argument("--first", type=int, default=0, help="number of the first log")
    parser.add_argument("--kind", action="append", choices=list(KINDS))
    parser.add_argument("--prior", action="append", default=[])
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a log")
    parser.add_argument("--table", action="store_true")
    asked = parser.parse_args(words)
    logging.getLogger("pymc").setLevel(logging.WARNING)
    done = {
        (each["kind"], each["campaign"], *each["prior"])
        for each in of_one_version(read_outcomes(asked.out), SEED)
    }
    numbers = range(asked.first, asked.first + asked.campaigns)
    wanted = [(kind, number) for number in numbers for kind in asked.kind or KINDS]
    missing = [each for each in wanted if (*each, *asked.prior) not in done]
    if missing and not asked.table:
        refitter_of = refitters(with_overrides(changed_priors(asked.prior)))

        def run(each: tuple[str, int]) -> Outcome:
            return run_log(refitter_of(each[0]), *each, asked.prior)

        def in_words(each: Outcome) -> str:
            covered = scores([each], "block")[1][0]
            return f"{each['kind']} {each['campaign']}: {each['verdict']}, covers {covered:.0%}"

        run_each(missing, run, asked.out, in_words)
    outcomes = [each for each in read_outcomes(asked.out) if each["seed"] == SEED]
    print("\n".join([*table_lines(outcomes), "", version_line(each["model"] for each in outcomes)]))
    return 0


if __name__ == "__main__":
    sys.exit(main())

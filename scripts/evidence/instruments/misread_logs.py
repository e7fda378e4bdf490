"""Bands of invented logs whose load cells read wrong: with ``error_pct`` in instruments.csv, and without.

    PYTHONPATH=scripts/evidence python -m instruments.misread_logs --out docs/instruments.jsonl

Every other visit is read by a spring scale, the rest by a load cell; or all of them by the scale.  All
readings of one of them are out by one factor, drawn anew in each campaign, which nobody knows.  A log is
fitted twice: with what the makers allow, and as if all read true.  Each outcome is one JSON line, written
when it is done; the same command goes on where it stopped.  ``--table`` only prints what the file holds.
"""

import argparse
import csv
import logging
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import xarray as xr

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.priors import default_priors
from holdcast.evaluate.outcomes import read_outcomes
from holdcast.evaluate.refit import Refitter, prepare, refit
from invented.campaign import draw_campaign
from invented.log import Log, write_campaign
from invented.truth import EVERY_WORLD, Truth
from pages.version import version_line
from simulated.campaign_runs import Outcome, of_one_version, run_each

SEED = 20_261_201
WORLD = "no_limit"
ERROR_PCT = {"spring scale": 15.0, "load cell": 3.0}
READERS = ("both", "scale")
ARMS = ("told", "not told")
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


def misread_campaign(
    number: int, readers: str, arm: str
) -> tuple[Truth, np.ndarray, xr.Dataset, dict[str, float]]:
    """Return the truth, the hidden cells, what the program is told, and the error of each instrument's log.

    Errors are drawn by a generator of their own, so both arms hold the same readings.
    """
    truth, log, hidden, generator = draw_campaign(WORLD, number, SEED)
    own = np.random.default_rng([SEED, number, 1])
    errors = {name: float(own.normal(0.0, percent / 100.0)) for name, percent in ERROR_PCT.items()}
    read_by = np.array(list(ERROR_PCT))[log.visit_of % 2 if readers == "both" else 0 * log.visit_of]
    factor = np.exp(np.array([errors[name] for name in read_by]))
    misread: Log = replace(log, held_n=log.held_n * factor, released_n=log.released_n * factor)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_campaign(folder, EVERY_WORLD[WORLD], truth, misread, generator)
        _write_instruments(folder, read_by, arm)
        return truth, hidden, lay_out(read_campaign(folder)), errors


def _write_instruments(folder: Path, read_by: np.ndarray, arm: str) -> None:
    """Add instruments.csv, and to each trial what it was read by: its number is the pull's."""
    with (folder / "trials.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    for row in rows:
        row["instrument"] = str(read_by[int(row["trial"][1:])])
    instruments = [
        {"instrument": name, "error_pct": percent if arm == "told" else ""}
        for name, percent in ERROR_PCT.items()
        if name in read_by
    ]
    for file, content in (("trials.csv", rows), ("instruments.csv", instruments)):
        with (folder / file).open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, list(content[0]))
            writer.writeheader()
            writer.writerows(content)


@cache
def compiled(readers: str, arm: str) -> Refitter:
    """Return the model compiled for the logs of one kind."""
    return prepare(misread_campaign(0, readers, arm)[2], default_priors())


def run_campaign(number: int, readers: str, arm: str) -> Outcome:
    """Return truth and bands of every cell of one log."""
    truth, hidden, inputs, errors = misread_campaign(number, readers, arm)
    fitted = refit(compiled(readers, arm), inputs, seed=SEED + number)
    bands = fitted.posterior["log_capacity"].quantile(QUANTILES, dim=("chain", "draw")).to_numpy()
    return {
        "campaign": number,
        "readers": readers,
        "arm": arm,
        "seed": SEED,
        "errors": {name: round(error, 4) for name, error in errors.items()},
        "verdict": {
            "ok": fitted.verdict.ok,
            "attempts": fitted.verdict.attempts,
            "divergences": fitted.verdict.divergences,
        },
        "hidden": hidden.astype(int).tolist(),
        "truth": truth.log_capacity.round(4).tolist(),
        "bands": bands.round(4).tolist(),
    }


def table_lines(outcomes: Sequence[Outcome]) -> list[str]:
    """Return the scores as a table in Markdown, ± one standard error by campaign."""
    lines = [
        "| read by | `error_pct` | cells | campaigns | 90% bands cover, % | 50% bands cover, % | "
        "width of 90%, × | error (rms of logs) | error of a campaign's mean level |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for readers, arm in product(READERS, ARMS):
        own = [each for each in outcomes if (each["readers"], each["arm"]) == (readers, arm)]
        for where in ("tested", "hidden") if own else ():
            rows = np.array([_scores(each, where) for each in own])
            error = rows.std(axis=0, ddof=1) / np.sqrt(len(rows)) if len(rows) > 1 else np.full(5, np.nan)
            wide, narrow, width, off, level = rows.mean(axis=0)
            lines.append(
                f"| {readers} | {arm} | {where} | {len(own)} | {100 * wide:.1f} ± {100 * error[0]:.1f} | "
                f"{100 * narrow:.1f} ± {100 * error[1]:.1f} | {np.exp(width):.2f} | "
                f"{off:.3f} ± {error[3]:.3f} | {level:.3f} ± {error[4]:.3f} |"
            )
    return lines


def _scores(outcome: Outcome, where: str) -> tuple[float, ...]:
    """Return coverage of both bands, width, rms error and the size of the mean error, of one log's cells."""
    cells = (np.array(outcome["hidden"]) == 1) == (where == "hidden")
    truth, bands = np.array(outcome["truth"])[cells], np.array(outcome["bands"])[:, cells]
    miss = bands[2] - truth
    return (
        float(np.mean((bands[0] <= truth) & (truth <= bands[4]))),
        float(np.mean((bands[1] <= truth) & (truth <= bands[3]))),
        float(np.mean(bands[4] - bands[0])),
        float(np.sqrt(np.mean(miss**2))),
        float(abs(np.mean(miss))),
    )


def main(words: Sequence[str] | None = None) -> int:
    """Run what the file does not hold yet, then print the table."""
    shown = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shown)
    parser.add_argument("--campaigns", type=int, default=8, help="logs of each arm")
    parser.add_argument("--first", type=int, default=0, help="number of the first log")
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a fit")
    parser.add_argument("--table", action="store_true")
    asked = parser.parse_args(words)
    logging.getLogger("pymc").setLevel(logging.WARNING)
    outcomes = of_one_version(read_outcomes(asked.out), SEED)
    done = {(each["campaign"], each["readers"], each["arm"]) for each in outcomes}
    numbers = range(asked.first, asked.first + asked.campaigns)
    missing = [each for each in product(numbers, READERS, ARMS) if each not in done]
    if missing and not asked.table:
        run_each(
            missing,
            lambda each: run_campaign(*each),
            asked.out,
            lambda each: f"{each['campaign']} {each['readers']} {each['arm']}: {each['verdict']}",
        )
    outcomes = [each for each in read_outcomes(asked.out) if each["seed"] == SEED]
    print("\n".join([*table_lines(outcomes), "", version_line(each["model"] for each in outcomes)]))
    return 0


if __name__ == "__main__":
    sys.exit(main())

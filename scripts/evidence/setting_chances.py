"""Chances of setting and of setting again, against cell shares and a logistic mixed model of a library.

    python scripts/evidence/setting_chances.py --outcomes docs/setting.jsonl

Takes the campaigns with resets that `setting_worlds.py` has run. The rivals are told which pulls set; the
program is told it or not, as the campaign was run.
"""

import argparse
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from holdcast.evaluate.outcomes import OutcomesError, read_outcomes
from invented.campaign import draw_campaign
from invented.chance_rivals import cell_shares, mixed_model
from invented.log import draw_resets
from pages.worlds_table import markdown_table, mean_and_error
from simulated.campaign_runs import tell

__all__ = ["chance_scores"]

Array = NDArray[np.float64]
KINDS = ("sets", "resets")


def chance_scores(chance: Array, predicted: Array) -> dict[str, float]:
    """Return error, coverage of 90% bands, width, and log score less that of who knows the chance.

    Parameters
    ----------
    chance : array, shape (cell,)
        True chances.
    predicted : array, shape (3, cell)
        Mean and ends of a 90% band.
    """
    mean, low, high = predicted
    p, q = np.clip(mean, 1e-4, 1.0 - 1e-4), np.clip(chance, 1e-12, 1.0 - 1e-12)
    excess = q * np.log(q / p) + (1.0 - q) * np.log((1.0 - q) / (1.0 - p))
    return {
        "error": float(np.sqrt(((mean - chance) ** 2).mean())),
        "log": 1000.0 * float(excess.mean()),
        "cover": 100.0 * float(((chance >= low) & (chance <= high)).mean()),
        "width": float((high - low).mean()),
    }


def score_methods(runs: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return one row a method, kind of test and kind of cell of one campaign, run with labels or without."""
    world, number, seed = (runs[0][name] for name in ("world", "campaign", "seed"))
    truth, log, _, _ = draw_campaign(world, number, seed)
    resets = draw_resets(truth, log, np.random.default_rng([seed, number]))
    by_method = {
        "cell shares": cell_shares(log, resets),
        "logistic mixed model": mixed_model(truth, log, resets),
    }
    for run in runs:
        quantiles = {kind: np.array(run[f"said_{kind}"]) for kind in KINDS}
        method = f"holdcast, `set` {run['labels']}"
        by_method[method] = {kind: each[[3, 0, 2]] for kind, each in quantiles.items()}
    tested = {kind: np.zeros(truth.log_capacity.shape, dtype=bool) for kind in KINDS}
    tested["sets"][log.anchor_of, log.seabed_of] = True
    tested["resets"][resets.anchor_of, resets.seabed_of] = True
    rows = []
    for method, answers in by_method.items():
        for kind in KINDS:
            chance = np.array(runs[0][kind])
            for cells, inside in (("tested", tested[kind]), ("others", ~tested[kind])):
                scores = chance_scores(chance[inside], answers[kind][:, inside])
                rows.append({"campaign": number, "method": method, "kind": kind, "cells": cells, **scores})
    return rows


def table(frame: pd.DataFrame) -> str:
    """Return the table as Markdown: means over campaigns with standard errors."""

    def mean(values: pd.Series, digits: int) -> str:
        middle, error = mean_and_error(values.to_numpy(dtype=float))
        return f"{middle:.{digits}f} ± {error:.{digits}f}"

    rows = [
        [str(kind), str(cells), str(method), str(len(part)), mean(part["error"], 3), mean(part["log"], 0),
         mean(part["cover"], 0), mean(part["width"], 2)]
        for (kind, cells, method), part in frame.groupby(["kind", "cells", "method"], sort=False)
    ]  # fmt: skip
    head = ["chance of", "cells", "method", "campaigns", "error (rms)", "log score, excess × 1000"]
    return markdown_table([*head, "90% bands cover, %", "mean width"], sorted(rows, key=lambda row: row[:2]))


def main() -> int:
    """Print the table of all campaigns with resets in the file, of the last version of the model there."""
    layout = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=layout)
    parser.add_argument("--outcomes", type=Path, required=True, help="outcomes of setting_worlds.py")
    options = parser.parse_args()
    try:
        outcomes = [each for each in read_outcomes(options.outcomes) if each["with_resets"]]
    except OutcomesError as error:
        tell(f"setting_chances: {error}")
        return 2
    if not outcomes:
        tell(
            f"setting_chances: {options.outcomes} holds no campaign with resets; "
            "run setting_worlds.py --resets"
        )
        return 2
    outcomes = [each for each in outcomes if each["model"] == outcomes[-1]["model"]]
    numbers = dict.fromkeys((each["world"], each["campaign"]) for each in outcomes)
    rows = []
    for place in numbers:
        rows += score_methods([each for each in outcomes if (each["world"], each["campaign"]) == place])
    print(table(pd.DataFrame(rows)))
    return 0


if __name__ == "__main__":
    sys.exit(main())

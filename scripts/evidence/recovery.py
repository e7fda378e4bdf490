"""Recovery: campaigns simulated from the model's own prior, refitted, and their bands counted.

Run as ``python scripts/evidence/recovery.py --campaigns 30``: each campaign adds a line of JSON to a file of
records, one already there is not run again, and docs/recovery.md is written from all records.  About a minute
to compile, then 10 to 20 seconds a campaign on two cores.
"""

import argparse
import logging
import math
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import arviz as az
import numpy as np
import pandas as pd
import pymc as pm
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.design_parts import LOADING
from holdcast.capacity.model.design_split import trait_covariance
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.plain_evaluation import AS_IT_STANDS
from holdcast.capacity.sampler.compiling import CompiledModel, compile_model
from holdcast.capacity.sampler.refitting import with_new_data
from holdcast.capacity.sampler.sampling import Effort, draw_posterior
from holdcast.capacity.symbols import only_serves_sampling
from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.outcomes import OutcomesError, append_outcome, read_outcomes
from pages.version import version_line
from simulated.recovery_layout import ANCHORS, HIDDEN_SHARE, PULLS, SEABEDS, make_layout, readings

ROOT = Path(__file__).resolve().parents[2]
RECORDS = ROOT / "docs" / "recovery.jsonl"
PAGE = ROOT / "docs" / "recovery.md"
EFFORT = Effort(1000, 800, 0.8)
FIRST_SEED = 1000
BANDS = {"50": (0.25, 0.75), "90": (0.05, 0.95)}
Record = dict[str, Any]


def simulate(model: pm.Model, inputs: xr.Dataset, seed: int) -> tuple[xr.Dataset, xr.DataArray]:
    """Return inputs with readings of one world drawn from the prior, and the world's true log capacities."""
    drawn = pm.sample_prior_predictive(
        1,
        model=model,
        var_names=["log_capacity", "log_load"],
        random_seed=seed,
        compile_kwargs={"mode": AS_IT_STANDS},
    )
    world = {
        name: drawn[group].to_dataset()[name].isel(chain=0, draw=0)
        for group, name in (("prior", "log_capacity"), ("prior_predictive", "log_load"))
    }
    return readings(inputs, world["log_load"].to_numpy(), seed), world["log_capacity"]


def refit(
    compiled: CompiledModel, model: pm.Model, inputs: xr.Dataset, seed: int, effort: Effort
) -> xr.DataTree:
    """Return the draws of one campaign; nothing is compiled."""
    return draw_posterior(with_new_data(compiled, model, inputs), effort, seed)[0]


def score(truth: xr.DataArray, draws: xr.DataTree, inputs: xr.Dataset) -> Record:
    """Return coverage, width and error of one campaign's hidden and tested cells, and diagnostics."""
    posterior = draws["posterior"].to_dataset()
    cells = posterior["log_capacity"]
    tested = np.zeros(cells.shape[2:], dtype=bool)
    tested[inputs["anchor_of"], inputs["seabed_of"]] = True
    record: Record = {}
    for name, mask in (("hidden", ~tested), ("tested", tested)):
        record[name] = _score_cells(truth.to_numpy()[mask], cells.to_numpy()[:, :, mask])
    judged = [name for name in posterior if not only_serves_sampling(name) and posterior[name].size]
    # Where a measurement was made it does not move; a trait and its reverse are one: their covariance tells.
    moving = [name for name in judged if not str(name).startswith("anchor_log") and name != LOADING]
    seen = posterior[moving].assign(trait_covariance=trait_covariance(posterior))
    ess = az.ess(seen, method="bulk")
    record["ess_bulk_min"] = float(min(values.min() for values in ess.data_vars.values()))
    record["ess_bulk_min_cells"] = float(ess["log_capacity"].min())
    record["divergences"] = int(draws["sample_stats"]["diverging"].sum())
    record["kinds"] = np.bincount(inputs["kind"], minlength=4).tolist()
    return record


def _score_cells(truth: NDArray[np.float64], draws: NDArray[np.float64]) -> Record:
    flat = draws.reshape(-1, draws.shape[-1])
    scores: Record = {
        "cells": len(truth),
        "square_error": float(((np.median(flat, axis=0) - truth) ** 2).mean()),
    }
    for band, ends in BANDS.items():
        low, high = np.quantile(flat, ends, axis=0)
        scores[f"covered_{band}"] = int(((truth >= low) & (truth <= high)).sum())
        scores[f"width_{band}"] = float((high - low).mean())
    return scores


def run(campaigns: int, records: Path, effort: Effort = EFFORT) -> list[Record]:
    """Run the campaigns that the file of records does not hold of this model yet, and return all of them."""
    digest = model_digest()
    done = [record for record in read_outcomes(records) if record.get("model") == digest]
    missing = [number for number in range(campaigns) if number not in {record["campaign"] for record in done}]
    if missing:
        inputs = make_layout()
        model = build_model(inputs, with_overrides({}))
        compiled = compile_model(model, own_source=True)
        for number in missing:
            start, seed = time.perf_counter(), FIRST_SEED + number
            seen, truth = simulate(model, inputs, seed)
            record = score(truth, refit(compiled, model, seen, seed, effort), seen)
            record |= {"campaign": number, "seed": seed, "model": digest}
            record |= {"seconds": round(time.perf_counter() - start, 1)}
            append_outcome(records, record)
            done.append(record)
            print(f"campaign {number}: {record['hidden']}", flush=True)
    return sorted(
        (record for record in done if record["campaign"] < campaigns), key=lambda each: each["campaign"]
    )


def share(covered: Sequence[int], cells: Sequence[int]) -> tuple[float, float]:
    """Return the share of cells covered and its standard error, clustered by campaign.

    The cells of one campaign share its hyperparameters, so the campaign is the unit: ratio of sums, with the
    linearised variance of a ratio (Cochran, *Sampling Techniques*, 3rd ed., section 6.4; value from memory).
    """
    hit, size, number = np.array(covered, dtype=float), np.array(cells, dtype=float), len(cells)
    ratio = hit.sum() / size.sum()
    if number < 2:
        return float(ratio), math.nan
    residual = hit - ratio * size
    return float(ratio), float(np.sqrt(number / (number - 1) * (residual**2).sum()) / size.sum())


def table(records: Sequence[Record]) -> pd.DataFrame:
    """Return coverage (with standard error), width and error, one row for hidden and one for tested cells."""
    rows = {}
    for kind in ("hidden", "tested"):
        each = [record[kind] for record in records]
        cells = [one["cells"] for one in each]
        row: dict[str, float] = {"cells": float(sum(cells))}
        for band in BANDS:
            row[f"covered_{band}"], row[f"se_{band}"] = share([one[f"covered_{band}"] for one in each], cells)
            row[f"width_{band}"] = float(np.average([one[f"width_{band}"] for one in each], weights=cells))
        row["error"] = math.sqrt(np.average([one["square_error"] for one in each], weights=cells))
        rows[kind] = row
    return pd.DataFrame(rows).T


def page(records: Sequence[Record]) -> str:
    """Return the text of docs/recovery.md."""
    score_table = table(records)
    lines = [_line(kind, row) for kind, row in score_table.iterrows()]
    kinds = np.sum([record["kinds"] for record in records], axis=0) / np.sum(
        [record["kinds"] for record in records]
    )
    exact, below, above, between = (f"{100 * part:.0f}%" for part in kinds)
    by_campaign = [100.0 * record["hidden"]["covered_90"] / record["hidden"]["cells"] for record in records]
    return TEXT.format(
        campaigns=len(records), anchors=len(ANCHORS), designs=len({row["design"] for row in ANCHORS}),
        seabeds=len(SEABEDS), pulls=PULLS, hidden=f"{100 * HIDDEN_SHARE:.0f}%", exact=exact, below=below,
        above=above, between=between, draws=EFFORT.draws, chains=EFFORT.chains, rows="\n".join(lines),
        least=f"{min(by_campaign):.0f}", most=f"{max(by_campaign):.0f}",
        divergences=sum(record["divergences"] for record in records),
        diverged=sum(record["divergences"] > 0 for record in records),
        total=len(records) * EFFORT.draws * EFFORT.chains,
        ess=f"{min(record['ess_bulk_min'] for record in records):.0f}",
        low_ess=sum(record["ess_bulk_min"] < 400 for record in records),
        ess_cells=f"{min(record['ess_bulk_min_cells'] for record in records):.0f}",
        version=version_line(record["model"] for record in records),
        seconds=f"{np.median([record['seconds'] for record in records]):.0f}",
    )  # fmt: skip


def _line(kind: object, row: Mapping[str, float]) -> str:
    parts = [f"{kind}", f"{row['cells']:.0f}"]
    for band in ("90", "50"):
        parts += [f"{100 * row[f'covered_{band}']:.1f}% ± {100 * row[f'se_{band}']:.1f}"]
        parts += [f"×{math.exp(row[f'width_{band}']):.2f}"]
    return "| " + " | ".join([*parts, f"{row['error']:.3f}"]) + " |"


TEXT = """# Recovery: does the fit find what the model made?

`scripts/evidence/recovery.py` writes this page. A world is drawn from the priors ([priors.md](priors.md)), a
campaign is pulled in it, and the program fits the campaign without knowing the world. If priors, likelihood
and sampler are right, a 90% band covers the true capacity in 90% of cells, tested or hidden, on average
over worlds. This checks the program, not the model: a real seabed need not follow the model at all.

**{campaigns} campaigns** of one layout: {anchors} anchors of {designs} designs, {seabeds} seabeds, {pulls}
pulls, {hidden} of the cells hidden. Loads become readings as a tester would take them: raised in steps,
some read exactly, stopped at the boat's limit. Of the readings {between} are intervals, {exact} exact,
{above} open above, {below} open below. {chains} chains of {draws} draws, one attempt each; about {seconds}
s a campaign on two cores.

| cells | number | 90% bands cover | mean width | 50% bands cover | mean width | error (rms, log) |
|---|---|---|---|---|---|---|
{rows}

± is one standard error clustered by campaign: cells of one world share its hyperparameters. Width is upper
over lower end of the band, the mean taken on the log scale. By campaign the 90% bands of hidden cells cover
{least}% to {most}%.

Divergences: {divergences} in {total} draws, in {diverged} of the campaigns. Smallest bulk effective sample
size over all campaigns: {ess_cells} of a cell, {ess} of anything that is judged; {low_ess} campaigns fell
below 400 at the first attempt, where `holdcast fit` would try harder.

{version}
"""


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--campaigns", type=int, default=30)
    parser.add_argument("--records", type=Path, default=RECORDS)
    parser.add_argument("--page", type=Path, default=PAGE)
    arguments = parser.parse_args()
    logging.getLogger("pymc").setLevel(logging.WARNING)
    try:
        records = run(arguments.campaigns, arguments.records)
    except OutcomesError as error:
        sys.exit(f"recovery: {error}")
    arguments.page.write_text(page(records), encoding="utf-8")

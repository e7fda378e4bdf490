"""A cell's pulls beside what is expected of them, and the trials that move the cell most."""

import math

import numpy as np
import xarray as xr

from holdcast.show.text.numbers import format_load, load_unit
from holdcast.show.text.plain_table import factor_text, plain_table
from holdcast.show.text.text_columns import wrap

__all__ = ["check_sentence", "load_text", "pull_lines", "trial_lines"]

_SHOWN_TRIALS = 3


def trial_lines(influence: xr.Dataset, trusted_k: float, width: int, *, everything: bool) -> list[str]:
    """Return the trials that move the cell most: a table, or one sentence for a screen.

    Parameters
    ----------
    influence : Dataset
        From ``influential_trials``.
    trusted_k : float
        Above this Pareto k an estimate is marked as not to be trusted.
    """
    trials = _trial_rows(influence, trusted_k)
    if everything:
        heading = "The most influential trials, each left out by itself:"
        return [heading, *plain_table(_TRIAL_HEADER, trials, numbers=(3, 4, 5), width=width)]
    named = ", ".join(f"{row[0]} {row[3]}{' (roughly)' if row[-1] else ''}" for row in trials)
    return wrap(f"Capacity without one trial: {named}; no other moves it more.", width)


def pull_lines(pulls: xr.Dataset, units: str, width: int, *, everything: bool) -> list[str]:
    """Return the cell's pulls beside what is expected of them: all, or a few, surprising ones first.

    Parameters
    ----------
    pulls : Dataset
        From ``pull_check``.
    units : {"si", "us"}
    """
    order = np.argsort(~pulls["surprising"].to_numpy(), kind="stable")
    few = pulls if everything else pulls.isel(trial=np.sort(order[:_SHOWN_TRIALS]))
    hidden = pulls.sizes["trial"] - few.sizes["trial"]
    more = f" {hidden} more with --all." if hidden else ""
    return [
        "Its pulls against what the other trials lead one to expect:",
        *_or_none(_pull_rows(few, units), units, width),
        *wrap(check_sentence(pulls) + more, width),
    ]


_TRIAL_HEADER = ["trial", "anchor", "seabed", "capacity without it", "in sd", "band", ""]


def _trial_rows(trials: xr.Dataset, trusted_k: float) -> list[list[str]]:
    return [
        [
            str(trial["trial"].item()),
            str(trial["anchor"].item()),
            str(trial["seabed"].item()),
            f"×{factor_text(float(trial['factor']))}",
            f"{float(trial['move']):+z.2f}",
            f"×{factor_text(float(trial['sd_ratio']))}",
            ""
            if float(trial["pareto_k"]) <= trusted_k
            else f"not to be trusted, Pareto k {float(trial['pareto_k']):.1f}",
        ]
        for trial in (trials.isel(trial=place) for place in range(min(_SHOWN_TRIALS, trials.sizes["trial"])))
    ]


def _pull_rows(pulls: xr.Dataset, units: str) -> list[list[str]]:
    rows = []
    for place in range(pulls.sizes["trial"]):
        pull = pulls.isel(trial=place)
        low, middle, high = (
            format_load(math.exp(float(pull["expected"].sel(quantile=q))), units) for q in (0.05, 0.5, 0.95)
        )
        word = "outside the band" if bool(pull["surprising"]) else ""
        rows.append([str(pull["trial"].item()), load_text(pull, units), f"{middle} ({low} to {high})", word])
    return rows


def load_text(pull: xr.Dataset, units: str) -> str:
    """Return a pull's load as "1.62", "1.50 to 1.70", "above 1.50" or "below 0.90"."""
    low, high = math.exp(float(pull["lower"])), math.exp(float(pull["upper"]))
    if low == 0.0:
        return f"below {format_load(high, units)}"
    if math.isinf(high):
        return f"above {format_load(low, units)}"
    texts = [format_load(load, units) for load in (low, high)]
    return texts[0] if texts[0] == texts[1] else " to ".join(texts)


def _or_none(rows: list[list[str]], units: str, width: int) -> list[str]:
    if not rows:
        return ["no pull of this cell was used"]
    header = ["trial", f"load at rest, {load_unit(units)}", "expected (90% band)", ""]
    return plain_table(header, rows, width=width)


def check_sentence(pulls: xr.Dataset) -> str:
    """Count the pulls outside their band; one in ten should be."""
    number, outside = pulls.sizes["trial"], int(pulls["surprising"].sum())
    if not number:
        return "Loads count at the anchor, along the bottom, at rest."
    return f"{outside} of {number} pulls lie outside their 90% band; one in ten should."

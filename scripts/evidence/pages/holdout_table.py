"""The page of `holdout.py`: coverage, width and error of bands for what was never pulled."""

import math
import textwrap
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pages.worlds_table import mean_and_error

__all__ = ["cells", "page", "summary", "verdict_on_aim"]

AIM = (0.87, 0.93)
"""Where the coverage of 90% bands is wanted, two standard errors allowed."""
LEAST = {"size": 30, "anchor": 30, "seabed": 100}
"""Fewest campaigns that can tell (a choice)."""
NAMES = {
    "size": "a size hidden (its design seen in other sizes)",
    "anchor": "a new anchor (the only one of its design)",
    "seabed": "a seabed hidden",
}
RATIOS = (
    ("larger, 1.6 to 1.7 times", 1.5, 1.8),
    ("larger, 2.5 times", 2.4, 2.6),
    ("smaller, 1/1.5", 0.6, 0.7),
    ("smaller, 1/2", 0.4, 0.6),
    ("smaller, 1/3", 0.3, 0.4),
)
Outcome = dict[str, Any]
Array = NDArray[np.float64]


def cells(outcomes: Sequence[Outcome]) -> pd.DataFrame:
    """Return one row a scored cell, quantity and path.

    Returns
    -------
    DataFrame
        Columns campaign, kind, quantity ("capacity" or "pull"), path ("refit" or "predict"), hidden (label),
        ratio, inside_90, inside_50, width_90, width_50, error, log_score (NaN on the path "predict").
    """
    frames = []
    for outcome in outcomes:
        for kind, scores in outcome["scores"].items():
            for quantity in ("capacity", "pull"):
                quantity_scores = scores[quantity]
                truth, log_score = np.array(quantity_scores["truth"]), np.array(quantity_scores["log_score"])
                about = {
                    "campaign": outcome["campaign"],
                    "kind": kind,
                    "quantity": quantity,
                    "hidden": outcome["hidden"][kind],
                    "ratio": outcome["mass_ratio"],
                }
                paths = (
                    ("refit", quantity_scores["quantiles"], log_score),
                    ("predict", scores["predict"][quantity], np.full(len(truth), np.nan)),
                )
                for path, quantiles, score in paths:
                    scored = _scored(truth, np.array(quantiles))
                    frames.append(pd.DataFrame({**about, "path": path, **scored, "log_score": score}))
    return pd.concat(frames, ignore_index=True)


def _scored(truth: Array, quantiles: Array) -> dict[str, Array]:
    low, low_half, middle, high_half, high = quantiles
    return {
        "inside_90": ((truth >= low) & (truth <= high)).astype(float),
        "inside_50": ((truth >= low_half) & (truth <= high_half)).astype(float),
        "width_90": high - low,
        "width_50": high_half - low_half,
        "middle": middle,
        "error": middle - truth,
    }


def summary(frame: pd.DataFrame) -> dict[str, Any]:
    """Return what some cells add up to.

    Returns
    -------
    dict
        ``campaigns``, ``cells``; ``inside_90``, ``inside_50``: mean over campaigns of their share of cells
        covered and its standard error (cells of one campaign share its world, so the campaign is the unit);
        ``width_90``, ``width_50``: mean, log scale; ``error``: root mean square; ``log_score``: mean.
    """
    by_campaign = frame.groupby("campaign")[["inside_90", "inside_50"]].mean()
    numbers: dict[str, Any] = {"campaigns": len(by_campaign), "cells": len(frame)}
    for band in ("inside_90", "inside_50"):
        numbers[band] = mean_and_error(by_campaign[band].to_numpy())
    for name in ("width_90", "width_50", "log_score"):
        numbers[name] = float(frame[name].mean())
    numbers["error"] = math.sqrt(float((frame["error"] ** 2).mean()))
    return numbers


def verdict_on_aim(coverage: tuple[float, float], campaigns: int, least: int) -> str:
    """Return whether a coverage lies where it is wanted, within two standard errors."""
    share, error = coverage
    if campaigns < least:
        return "too few to tell"
    outside = max(AIM[0] - share, share - AIM[1], 0.0)
    return "met" if outside <= 2.0 * error else "NOT MET"


def _line(parts: Sequence[str]) -> str:
    return "| " + " | ".join(parts) + " |"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    return "\n".join([_line(head), _line(["---"] * len(head)), *map(_line, rows)])


def _share(coverage: tuple[float, float]) -> str:
    share, error = coverage
    return f"{100 * share:.1f}%" + ("" if math.isnan(error) else f" ± {100 * error:.1f}")


def _width(log_width: float) -> str:
    return f"{log_width:.2f} (×{math.exp(log_width):.2f})"


HEAD = ("campaigns", "cells", "90% bands cover", "mean width, log", "50% bands cover", "mean width, log",
        "error (rms, log)")  # fmt: skip


def _parts(numbers: dict[str, Any]) -> list[str]:
    return [
        str(numbers["campaigns"]),
        str(numbers["cells"]),
        _share(numbers["inside_90"]),
        _width(numbers["width_90"]),
        _share(numbers["inside_50"]),
        _width(numbers["width_50"]),
        f"{numbers['error']:.3f}",
    ]


def main_table(frame: pd.DataFrame) -> str:
    """Return coverage, width, error and log score of each kind, with what was wanted."""
    rows = []
    for kind, name in NAMES.items():
        numbers = summary(frame[frame["kind"] == kind])
        aim = verdict_on_aim(numbers["inside_90"], numbers["campaigns"], LEAST[kind])
        rows.append([name, *_parts(numbers), f"{numbers['log_score']:.2f}", aim])
    return _table(["never seen", *HEAD, "log score", "87 to 93%"], rows)


def part_table(frame: pd.DataFrame, what: str, groups: Sequence[tuple[str, pd.Series]]) -> str:
    """Return one row a group of cells; groups that no campaign has met are left out."""
    rows = [[name, *_parts(summary(frame[inside]))] for name, inside in groups if inside.any()]
    return _table([what, *HEAD], rows)


def paths_differ(frame: pd.DataFrame) -> str:
    """Return how far the public prediction lies from the refit's own draws, in words."""
    both = frame[frame["quantity"] == "capacity"]
    refit, public = (both[both["path"] == path].reset_index(drop=True) for path in ("refit", "predict"))
    shift = (public["middle"] - refit["middle"]) / refit["width_90"]
    ratio = public["width_90"].sum() / refit["width_90"].sum()
    return (
        f"its medians differ by {shift.mean():+.3f} of a 90% band on average ({shift.std():.3f} from cell to "
        f"cell, since both rest on a finite number of draws), its 90% bands are {ratio:.3f} times as wide"
    )


def sampler_words(outcomes: Sequence[Outcome]) -> str:
    """Return what the sampler did: failures, attempts, divergences, least effective sample size."""
    verdicts = [outcome["verdict"] for outcome in outcomes]
    bad = [outcome["campaign"] for outcome in outcomes if not outcome["verdict"]["ok"]]
    again = sum(verdict["attempts"] > 1 for verdict in verdicts)
    diverged = [verdict["divergences"] for verdict in verdicts]
    draws = sum(verdict["draws"] for verdict in verdicts)
    bulk, tail = (_worst(verdicts, name, min) for name in ("ess_bulk_min", "ess_tail_min"))
    failed = f"{len(bad)} (campaign {', '.join(map(str, bad))})" if bad else "none"
    return (
        f"Verdicts still bad at the last attempt: {failed}; their cells are counted all the same. {again} of "
        f"{len(verdicts)} refits needed a second attempt. Divergences in the attempts that count: "
        f"{sum(diverged)} in {draws} draws, at most {max(diverged)} in "
        f"one refit. Least effective sample size of any cell: {bulk:.0f} (bulk), {tail:.0f} (tails); largest "
        f"R-hat {_worst(verdicts, 'rhat_max', max):.3f}."
    )


def _worst(verdicts: Sequence[dict[str, Any]], name: str, of: Callable[..., float]) -> float:
    """Return the least or greatest of a figure; NaN counts as worst."""
    values = [verdict[name] for verdict in verdicts]
    return math.nan if None in values else of(values)


def page(outcomes: Sequence[Outcome], command: str) -> str:
    """Return the text of docs/holdout.md."""
    every = cells(outcomes)
    capacity = every[(every["quantity"] == "capacity") & (every["path"] == "refit")]
    size, seabed, anchor = (capacity[capacity["kind"] == kind] for kind in ("size", "seabed", "anchor"))
    ratios = [(name, (size["ratio"] >= low) & (size["ratio"] < high)) for name, low, high in RATIOS]
    kinds = np.sum([outcome["kinds"] for outcome in outcomes], axis=0)
    exact, below, above, between = (f"{100 * part:.0f}%" for part in kinds / kinds.sum())
    public = every[(every["quantity"] == "capacity") & (every["path"] == "predict")]
    text = TEXT.format(
        command=command, campaigns=len(outcomes), between=between, exact=exact, above=above, below=below,
        pulls=f"{kinds.sum() / len(outcomes):.0f}", capacity=main_table(capacity),
        pull=main_table(every[(every["quantity"] == "pull") & (every["path"] == "refit")]),
        ratios=part_table(size, "hidden size against the nearest seen", ratios),
        anchors=part_table(anchor, "hidden anchor", _by_label(anchor)),
        seabeds=part_table(seabed, "hidden seabed", _by_label(seabed)),
        differ=paths_differ(every),
        public=part_table(public, "public prediction", [(n, public["kind"] == k) for k, n in NAMES.items()]),
        sampler=sampler_words(outcomes), seconds=f"{np.median([each['seconds'] for each in outcomes]):.0f}",
        draws=min(each["verdict"]["draws"] for each in outcomes), seed=outcomes[0]["seed"],
        model=outcomes[0]["model"],
    )  # fmt: skip
    return "\n\n".join(map(_wrapped, text.split("\n\n"))) + "\n"


def _wrapped(block: str) -> str:
    """Return a paragraph in lines of even length; headings, tables and commands stay as they are."""
    if block.startswith(("#", "|", "```")):
        return block
    return textwrap.fill(" ".join(block.split()), 110, break_long_words=False, break_on_hyphens=False)


def _by_label(frame: pd.DataFrame) -> list[tuple[str, pd.Series]]:
    return [(label, frame["hidden"] == label) for label in sorted(set(frame["hidden"]))]


TEXT = """# Bands for what was never pulled

These campaigns are invented: nobody pulled an anchor for this page. Made by

```
{command}
```

A world is drawn from the model's own priors ([priors.md](priors.md)) and a campaign of one fixed layout is
pulled in it: 20 anchors of 12 designs, 8 seabeds, 150 pulls in two cells of three. Then three things are
hidden together, others in each campaign: all pulls of the largest or smallest size of a design that has
three sizes; all pulls of an anchor that is the only one of its design; all pulls in one seabed, of which
soil and strength class stay known. About {pulls} pulls are left ({between} intervals, {exact} exact,
{above} open above, {below} open below), some with a known rode, some at a known drag speed. The model is
fitted to them, and its bands of log capacity are held against the world: of the hidden size and of the
hidden anchor in the seven other seabeds, and of the other 18 anchors in the hidden seabed.

Because the worlds come from the priors, this checks that the program says what its model implies, in the
places where users lean on it most. It cannot check the model: a real seabed need not follow it.

{capacity}

± is one standard error over campaigns: the cells of a campaign share its world, so they count as one.
Wanted is a coverage of the 90% bands of 87 to 93%, two standard errors allowed. Width is upper less lower
end, in brackets as a factor; error is that of the median; log score is the mean log density of the truth.

## One new pull

The same for the load of one new pull in each of these cells, on a new visit, at rest and along the
bottom:

{pull}

## How far a size was extrapolated

{ratios}

## Which anchor was hidden

{anchors}

H and I are also the only ones of their forms.

## Which seabed was hidden

{seabeds}

The creek and the spit are the only ones of their soil.

## Through the public prediction

`holdcast predict` describes the member that is asked for and draws its effects anew. Asked for the same
cells, with draws in which the hidden members are absent (a member without pulls tells a fit nothing, so
its draws are simply dropped), {differ}.

{public}

## The sampler

{sampler} A refit keeps {draws} draws, more where the verdict on the cells was bad at first; about
{seconds} s a campaign on two cores, prediction included.

{campaigns} campaigns, seed {seed}, version {model} of the model (digest of its source).
"""

"""The tables of `setting_worlds.py`: one version of the model over another on the same campaigns."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pages.worlds_table import markdown_table, mean_and_error

__all__ = ["cell_scores", "labels_table", "setting_tables"]

Array = NDArray[np.float64]
ALPHA = 0.10
KINDS = ("tested", "hidden")
KEY = ["world", "campaign"]


def interval_score(truth: Array, low: Array, high: Array) -> Array:
    """Return the interval score of 90% bands (Gneiting & Raftery 2007, value from memory): less is better."""
    outside = np.maximum(low - truth, 0.0) + np.maximum(truth - high, 0.0)
    return high - low + 2.0 / ALPHA * outside


def cell_scores(outcome: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return one row for the tested and one for the hidden cells of a campaign."""
    hidden = np.array(outcome["hidden"], dtype=bool)
    truth, quantiles = np.array(outcome["truth"]), np.array(outcome["quantiles"])
    above, predicted = np.array(outcome["above"]), np.clip(outcome["said_above"], 1e-4, 1.0 - 1e-4)
    score = interval_score(truth, quantiles[0], quantiles[2])
    verdict = outcome["verdict"]
    rows = []
    for kind, inside in zip(KINDS, (~hidden, hidden), strict=True):
        low, middle, high = quantiles[:, inside]
        row = {
            **{name: outcome[name] for name in (*KEY, "labels", "with_resets", "model", "unset")},
            "kind": kind,
            "error": float(np.sqrt(((middle - truth[inside]) ** 2).mean())),
            "cover": float(((truth[inside] >= low) & (truth[inside] <= high)).mean()),
            "width": float((high - low).mean()),
            "interval": float(score[inside].mean()),
            **_of_chance("above", above[inside], predicted[inside]),
            "again": float(verdict["attempts"] > 1),
            "bad": float(not verdict["ok"]),
            "divergences": 1000.0 * verdict["divergences"] / verdict["draws"],
            "seconds": verdict["seconds"],
        }
        if "said_sets" in outcome and "sets" in outcome:
            low, _, high, mean = np.array(outcome["said_sets"])[:, inside]
            chance = np.array(outcome["sets"])[inside]
            row["sets_rms"] = float(np.sqrt(((mean - chance) ** 2).mean()))
            row["sets_cover"] = float(((chance >= low) & (chance <= high)).mean())
        rows.append(row)
    return rows


def _of_chance(name: str, chance: Array, predicted: Array) -> dict[str, float]:
    """Return expected Brier and log scores of a said chance, and those of who knows the true one."""

    def log_score(p: Array) -> float:
        p = np.clip(p, 1e-12, 1.0 - 1e-12)
        return float(-(chance * np.log(p) + (1.0 - chance) * np.log1p(-p)).mean())

    return {
        f"{name}_brier": float((chance * (1.0 - predicted) ** 2 + (1.0 - chance) * predicted**2).mean()),
        f"{name}_brier_best": float((chance * (1.0 - chance)).mean()),
        f"{name}_log": log_score(predicted),
        f"{name}_log_best": log_score(chance),
    }


def setting_tables(outcomes: Sequence[Mapping[str, Any]]) -> str:
    """Return all tables as Markdown: the last version of the model in the file over the first."""
    if not outcomes:
        return "no campaign has been run yet"
    frame = pd.DataFrame([row for outcome in outcomes for row in cell_scores(outcome)])
    versions = list(dict.fromkeys(frame["model"]))
    usual = frame[(frame["labels"] == "blank") & ~frame["with_resets"]]
    parts = [f"Versions of the model, by digest: {', '.join(versions)}."]
    if len(versions) > 1:
        after, before = (usual[usual["model"] == version] for version in (versions[-1], versions[0]))
        paired = before.merge(after, on=[*KEY, "kind"], suffixes=("_before", "_after"))
        if len(paired):
            parts += [capacity_table(paired), bands_table(paired), pulls_table(paired), sampler_table(paired)]
        parts.append(slips_table(frame, versions[0], versions[-1]))
    return "\n\n".join([*parts, labels_table(frame[frame["model"] == versions[-1]])])


def _ratio(frame: pd.DataFrame, name: str, sides: tuple[str, str] = ("after", "before")) -> str:
    over, under = (frame[f"{name}_{side}"].to_numpy(dtype=float) for side in sides)
    middle, error = mean_and_error(np.log(over / under))
    return f"{np.exp(middle):.3f} ± {np.exp(middle) * error:.3f}"


def _share(values: pd.Series) -> str:
    middle, error = mean_and_error(values.to_numpy(dtype=float))
    return f"{100 * middle:.1f} ± {100 * error:.1f}"


def _groups(paired: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    """Return the worlds apart, and those of `worlds.py` together."""
    from invented.truth import WORLDS

    groups = [(str(world), inside) for world, inside in paired.groupby("world", sort=False)]
    apart = [(name, inside) for name, inside in groups if name not in WORLDS]
    nine = paired[paired["world"].isin(list(WORLDS))]
    return [*apart, ("the nine worlds", nine)] if len(nine) else apart


def _by_kind(inside: pd.DataFrame) -> list[pd.DataFrame]:
    return [inside[inside["kind"] == kind] for kind in KINDS]


def _number(inside: pd.DataFrame) -> str:
    return str(len(inside) // len(KINDS))


def capacity_table(paired: pd.DataFrame) -> str:
    """Return errors and interval scores, after over before."""
    rows = [
        [world, _number(inside)]
        + [_ratio(part, name) for name in ("error", "interval") for part in _by_kind(inside)]
        for world, inside in _groups(paired)
    ]
    head = [f"{name}, {kind}" for name in ("error", "interval score") for kind in KINDS]
    return markdown_table(["world", "campaigns", *head], rows)


def bands_table(paired: pd.DataFrame) -> str:
    """Return coverage before and after, and widths as a ratio."""
    rows = [
        [world]
        + [f"{_share(part['cover_before'])} → {_share(part['cover_after'])}" for part in _by_kind(inside)]
        + [_ratio(part, "width") for part in _by_kind(inside)]
        for world, inside in _groups(paired)
    ]
    head = [f"90% bands cover, {kind}, %" for kind in KINDS] + [f"width, {kind}" for kind in KINDS]
    return markdown_table(["world", *head], rows)


def pulls_table(paired: pd.DataFrame) -> str:
    """Return scores of "a new pull exceeds 0.4 of the true capacity", less those of who knows the chance."""
    rows = []
    for world, inside in _groups(paired):
        row = [world]
        for name in ("brier", "log"):
            for part in _by_kind(inside):
                best = part[f"above_{name}_best_after"]
                before, after = (part[f"above_{name}_{side}"] - best for side in ("before", "after"))
                row.append(f"{1000 * before.mean():.1f} → {1000 * after.mean():.1f}")
        rows.append([*row, _ratio(inside, "above_log")])
    head = [
        f"{name}, {kind}" for name in ("Brier, excess × 1000", "log score, excess × 1000") for kind in KINDS
    ]
    return markdown_table(["world", *head, "log score, after / before"], rows)


def sampler_table(paired: pd.DataFrame) -> str:
    """Return what the sampler did, before and after; one row a campaign counts."""
    rows = []
    for world, inside in _groups(paired):
        one = inside[inside["kind"] == KINDS[0]]
        counts = [
            f"{one[f'{name}_before'].sum():.0f} → {one[f'{name}_after'].sum():.0f}"
            for name in ("again", "bad")
        ]
        means = [
            f"{one[f'{name}_before'].mean():.2f} → {one[f'{name}_after'].mean():.2f}"
            for name in ("divergences", "seconds")
        ]
        rows.append([world, str(len(one)), *counts, *means, _ratio(one, "seconds")])
    head = ["world", "campaigns", "second attempts", "bad verdicts", "divergences in 1,000 draws"]
    return markdown_table([*head, "seconds of sampling", "seconds, after / before"], rows)


def slips_table(frame: pd.DataFrame, old: str, new: str) -> str:
    """Return one version of the model over another on the same campaigns with the column `set` filled."""
    filled = frame[frame["labels"] != "blank"]
    before, after = (filled[filled["model"] == version] for version in (old, new))
    paired = before.merge(after, on=[*KEY, "labels", "with_resets", "kind"], suffixes=("_before", "_after"))
    rows = []
    for (labels, kind), part in paired.groupby(["labels", "kind"], sort=False):
        excess = (
            f"{1000 * (part[f'above_log_{side}'] - part[f'above_log_best_{side}']).mean():.1f}"
            for side in ("before", "after")
        )
        rows.append(
            [
                *(str(labels), str(kind), str(len(part))),
                *(_ratio(part, "error"), _ratio(part, "width")),
                *(
                    " → ".join(_share(part[f"{name}_{side}"]) for side in ("before", "after"))
                    for name in ("cover", "sets_cover")
                ),
                " → ".join(f"{part[f'sets_rms_{side}'].mean():.3f}" for side in ("before", "after")),
                " → ".join(excess),
            ]
        )
    head = [
        *("`set`", "cells", "campaigns", "error of capacity, after / before", "width, after / before"),
        *("90% bands of capacity cover, %", "90% bands of chances cover, %"),
        *("rms error of chances", "log score, excess × 1000"),
    ]
    return markdown_table(head, rows)


def labels_table(frame: pd.DataFrame) -> str:
    """Return what the column `set` and resets change, over the same campaigns with the column blank."""
    blank = frame[(frame["labels"] == "blank") & ~frame["with_resets"]]
    rows = []
    for (world, labels, resets), inside in frame.groupby(["world", "labels", "with_resets"], sort=False):
        paired = blank.merge(inside, on=[*KEY, "kind"], suffixes=("_blank", "_so"))
        if not len(paired) or "sets_rms_so" not in paired or paired["sets_rms_so"].isna().any():
            continue
        row = [str(world), str(labels), "yes" if resets else "", _number(paired)]
        for part in _by_kind(paired):
            row += [
                _ratio(part, "error", ("so", "blank")),
                f"{part['sets_rms_so'].mean():.3f}",
                _share(part["sets_cover_so"]),
                f"{1000 * (part['above_log_so'] - part['above_log_best_so']).mean():.1f}",
            ]
        rows.append(row)
    names = (
        "error of capacity / blank",
        "rms error of chance",
        "90% bands of it cover, %",
        "log score, excess × 1000",
    )
    head = [f"{name}, {kind}" for kind in KINDS for name in names]
    return markdown_table(["world", "`set`", "resets", "campaigns", *head], rows)

"""The tables of `real_tables.py`: coverage, widths, errors and log scores, beside a formula mixed model's."""

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from holdcast.evaluate.scoring import band_share
from holdcast.evaluate.summary import TENTHS, clustered_error, crossed_error
from pages.version import version_line
from pages.worlds_table import markdown_table

__all__ = ["cells_frame", "page", "readings_frame"]

OURS, FORMULA = "holdcast", "formula"
ALL = "all tables"
KINDS: Mapping[str, Callable[[pd.DataFrame], pd.Series]] = {
    "readings of hidden cells": lambda frame: frame["of_hidden_cell"],
    "hidden readings of tested cells": lambda frame: ~frame["of_hidden_cell"],
    "of both, readings beyond the cap": lambda frame: frame["beyond_cap"],
}
COMMAND = (
    "PYTHONPATH=scripts/evidence python -m outside.real_tables --out docs/outside.jsonl "
    "--table docs/outside_tables.md"
)


def readings_frame(outcomes: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Return one row a hidden reading and method: labels, ``inside_50``, ``inside_90`` and scores."""
    frames = []
    for outcome in outcomes:
        labels = {name: outcome[name] for name in ("anchor", "seabed", "of_hidden_cell", "beyond_cap")}
        for method, said in outcome["methods"].items():
            frame = pd.DataFrame({**labels, **said["readings"]})
            below, upto = frame["below"].to_numpy(), frame["upto"].to_numpy()
            frame = frame.assign(
                inside_50=band_share(below, upto, 0.25, 0.75), inside_90=band_share(below, upto, 0.05, 0.95)
            )
            frames.append(frame.assign(table=outcome["table"], ok=outcome["ok"], method=method))
    return pd.concat(frames, ignore_index=True)


def cells_frame(outcomes: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Return one row a hidden cell and method, as :func:`readings_frame`."""
    frames = []
    for outcome in outcomes:
        anchor, seabed = np.array(outcome["cells"]).T
        for method, said in outcome["methods"].items():
            frame = pd.DataFrame({"anchor": anchor, "seabed": seabed, **said["cells"]})
            inside_50, inside_90 = ((frame["pit"] - 0.5).abs() <= half for half in (0.25, 0.45))
            frame = frame.assign(inside_50=inside_50.astype(float), inside_90=inside_90.astype(float))
            frames.append(frame.assign(table=outcome["table"], ok=outcome["ok"], method=method))
    return pd.concat(frames, ignore_index=True)


def _error(frame: pd.DataFrame, values: np.ndarray) -> float:
    """Return the standard error of a mean: of one table crossed by anchor and seabed, of all by table."""
    if len(set(frame["table"])) > 1:
        return clustered_error(values, frame["table"].to_numpy())
    anchor, seabed = (frame[name].to_numpy() for name in ("anchor", "seabed"))
    return crossed_error(values, anchor, seabed, anchor * 1000 + seabed)


def _share(frame: pd.DataFrame, name: str) -> str:
    values = frame[name].to_numpy(dtype=float)
    return f"{100 * values.mean():.0f} ± {100 * _error(frame, values):.0f}"


def _scores(frame: pd.DataFrame, name: str, log_score: bool) -> list[str]:
    """Return one line of a table: our coverage beside the rival's, widths, errors, log scores."""
    ours, rival = (frame[frame["method"] == method] for method in (OURS, FORMULA))
    both = [(ours, "inside_90"), (ours, "inside_50"), (rival, "inside_90"), (rival, "inside_50")]
    rms = [float(np.sqrt((each["miss"] ** 2).mean())) for each in (ours, rival)]
    cells = [name, str(len(ours)), *(_share(each, column) for each, column in both)]
    cells += [f"{each['width'].mean():.2f}" for each in (ours, rival)] + [f"{each:.2f}" for each in rms]
    if log_score:
        gain = ours["log_score"].to_numpy() - rival["log_score"].to_numpy()
        cells.append(f"{gain.mean():+.2f} ± {_error(ours, gain):.2f}")
    return cells


def _by_table(frame: pd.DataFrame, what: str, log_score: bool = True) -> str:
    """Return scores table by table and of all."""
    lines = [_scores(inside, str(name), log_score) for name, inside in frame.groupby("table", sort=False)]
    lines.append(_scores(frame, ALL, log_score))
    head = [
        "table",
        what,
        "90% bands hold",
        "50%",
        "rival's 90%",
        "50%",
        "width 90%",
        "rival",
        "rms miss",
        "rival",
    ]
    return markdown_table([*head, *(["log score gained"] if log_score else [])], lines)


def _pit(frame: pd.DataFrame) -> str:
    """Return the shares of predicted probability in each tenth, for both methods."""
    edges = np.arange(TENTHS + 1) / TENTHS
    lines = []
    for method in (OURS, FORMULA):
        rows = frame[frame["method"] == method]
        below, upto = rows["below"].to_numpy(), rows["upto"].to_numpy()
        shares = [band_share(below, upto, low, high).mean() for low, high in pairwise(edges)]
        lines.append([method, *(f"{100 * share:.1f}" for share in shares)])
    return markdown_table(["tenth, %", *(str(tenth + 1) for tenth in range(TENTHS))], lines)


def _sizes(outcomes: Sequence[Mapping[str, Any]]) -> str:
    """Return what each table is, and how its refits went."""
    lines = []
    for name in dict.fromkeys(outcome["table"] for outcome in outcomes):
        mine = [outcome for outcome in outcomes if outcome["table"] == name]
        hidden = [len(outcome["anchor"]) for outcome in mine]
        lines.append(
            [
                name, str(mine[0]["pulls"] + hidden[0]), str(len(mine)), f"{np.mean(hidden):.0f}",
                str(mine[0]["doubts"]), str(sum(not outcome["ok"] for outcome in mine)),
                f"{np.mean([outcome['seconds'] for outcome in mine]):.0f}",
            ]
        )  # fmt: skip
    head = ["table", "readings kept", "refits", "hidden in each", "doubts of `check`", "verdicts bad"]
    return markdown_table([*head, "seconds a refit, both models"], lines)


def page(outcomes: Sequence[Mapping[str, Any]]) -> str:
    """Return all tables as a page."""
    names = list(dict.fromkeys(outcome["table"] for outcome in outcomes))
    ordered = sorted(outcomes, key=lambda each: (names.index(each["table"]), each["part"]))
    blank = [each for each in ordered if not each.get("said", False)]
    said = [each for each in ordered if each.get("said", False)]
    readings, cells = readings_frame(blank), cells_frame(blank)
    parts = [
        "# Real two-way tables, in numbers",
        f"Made by `{COMMAND}`; what it means: [outside.md](outside.md). ± is one standard error: of one "
        "table with anchors and seabeds as crossing clusters, of all with tables as clusters. Widths and "
        "misses are on the log scale. The log score gained is ours less the rival's, a reading.",
        _sizes(blank),
        *(
            f"## {title[0].upper()}{title[1:]}\n\n{_by_table(readings[choose(readings)], 'readings')}"
            for title, choose in KINDS.items()
            if choose(readings).any()
        ),
        "## Means of hidden cells\n\nThe mean log reading of a hidden cell, against predictions of that "
        f"mean.\n\n{_by_table(cells, 'cells', log_score=False)}",
        "## Where readings lie among their predictions (PIT)\n\n10% each when calibrated.\n\n"
        + _pit(readings),
        "## Without refits of a bad verdict\n\n" + _by_table(readings[readings["ok"]], "readings"),
        *([_said(said)] if said else []),
        version_line(outcome["model"] for outcome in ordered),
    ]
    return "\n\n".join(parts) + "\n"


def _said(outcomes: Sequence[Mapping[str, Any]]) -> str:
    """Return what refits of logs say that tell of each pull that its anchor set."""
    table = _by_table(readings_frame(outcomes), "readings")
    return (
        "## Where the log says of each pull that its anchor set\n\nThe same command with `--said`; all "
        f"hidden readings.\n\n{_sizes(outcomes)}\n\n{table}"
    )

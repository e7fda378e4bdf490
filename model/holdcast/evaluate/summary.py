"""What refits add up to: coverage, widths and scores by what was hidden, with errors by cluster."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.evaluate.scoring import band_share

__all__ = [
    "SCORES",
    "TENTHS",
    "clustered_error",
    "crossed_error",
    "pulls_table",
    "summarise",
    "summarise_setting",
]

SCORES: Mapping[str, str] = {
    "inside_50": "share of pulls inside the 50% band",
    "inside_90": "share of pulls inside the 90% band",
    "log_score": "mean log predictive probability of a pull",
    "width_90": "mean width of the 90% band of a pull, log scale",
    "capacity_width_90": "mean width of the 90% band of the capacity, log scale",
    "miss": "mean log distance from the predicted median to the pull's interval",
}
TENTHS = 10
"""Parts of the picture of predicted probabilities (PIT)."""


def pulls_table(outcomes: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Return one row for each held-out pull of each refit.

    Returns
    -------
    DataFrame
        Columns hide, label, ok, cluster, trial, anchor, seabed, visit and the scores of
        :func:`holdcast.evaluate.scoring.pull_scores`.  A cluster is a cell where cells were hidden, else all
        that one refit hid: pulls of one cluster miss together.
    """
    return _scored(outcomes, "pulls")


def _scored(outcomes: Sequence[Mapping[str, Any]], name: str) -> pd.DataFrame:
    """Return one row for each scored test that the outcomes keep under a name, see :func:`pulls_table`."""
    frames = []
    for outcome in outcomes:
        if name not in outcome:
            continue
        frame = pd.DataFrame(outcome[name])
        frame.insert(0, "hide", outcome["hide"])
        frame.insert(1, "label", outcome["label"])
        frame.insert(2, "ok", outcome["ok"])
        cell = frame["anchor"] + " in " + frame["seabed"]
        frame.insert(3, "cluster", cell if outcome["hide"] == "cells" else outcome["label"])
        frames.append(frame)
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def crossed_error(
    values: NDArray[np.float64], first: NDArray[Any], second: NDArray[Any], within: NDArray[Any]
) -> float:
    """Return the standard error of a mean whose values hang together in two ways that cross.

    Parameters
    ----------
    values : array, shape (n,)
    first, second : arrays of labels, shape (n,)
        The two ways, such as visits and anchors.
    within : array of labels, shape (n,)
        Clusters of which nothing smaller may be taken.

    Returns
    -------
    float
        √(V(first) + V(second) − V(first × second)), V being the square of :func:`clustered_error`, and at
        least that of either way and of `within` (Cameron, Gelbach & Miller 2011, *J. Bus. Econ. Stat.*
        29:238, value from memory).  A way of one cluster tells nothing and does not count; NaN when none
        counts.
    """
    ways = [np.asarray(way).astype(str) for way in (first, second)]
    crossing = np.char.add(np.char.add(ways[0], "\n"), ways[1])
    one, two, both, least = (clustered_error(values, way) ** 2 for way in (*ways, crossing, within))
    variances = [variance for variance in (one + two - both, one, two, least) if not np.isnan(variance)]
    return float(np.sqrt(max(variances))) if variances else float("nan")


def clustered_error(values: NDArray[np.float64], cluster: NDArray[Any]) -> float:
    """Return the standard error of a mean whose values hang together within clusters.

    Parameters
    ----------
    values : array, shape (n,)
    cluster : array of labels, shape (n,)

    Returns
    -------
    float
        √(C / (C − 1) · Σ_c (Σ_{i in c} (x_i − x̄))²) / n; NaN for one cluster (Liang & Zeger 1986,
        *Biometrika* 73:13, value from memory).
    """
    sums = pd.Series(values - values.mean()).groupby(np.asarray(cluster)).sum().to_numpy()
    count = len(sums)
    if count < 2:
        return float("nan")
    return float(np.sqrt(count / (count - 1) * (sums**2).sum()) / len(values))


def summarise(outcomes: Sequence[Mapping[str, Any]]) -> xr.Dataset:
    """Return the scores by what was hidden.

    Parameters
    ----------
    outcomes : sequence of mapping
        As :func:`holdcast.evaluate.campaign_refits.evaluate_campaign` returns them.

    Returns
    -------
    Dataset
        ``mean``, ``standard_error`` (hidden, score), over pulls, errors clustered; ``pit`` (hidden, tenth):
        share of predicted probability in each tenth, 0.1 each when calibrated; ``refits``,
        ``unreliable_refits``, ``pulls``, ``clusters`` (hidden).

    Raises
    ------
    ValueError
        When no refit hid anything.
    """
    table = pulls_table(outcomes)
    if table.empty:
        raise ValueError("no refit has hidden anything yet")
    kinds = list(dict.fromkeys(table["hide"]))
    inside = {kind: table[table["hide"] == kind] for kind in kinds}
    refits = {kind: [o for o in outcomes if o["hide"] == kind] for kind in kinds}
    means = [[float(inside[kind][score].mean()) for score in SCORES] for kind in kinds]
    errors = [[_error(inside[kind], score) for score in SCORES] for kind in kinds]
    counts = {
        "refits": [len(refits[kind]) for kind in kinds],
        "unreliable_refits": [sum(not outcome["ok"] for outcome in refits[kind]) for kind in kinds],
        "pulls": [len(inside[kind]) for kind in kinds],
        "clusters": [inside[kind]["cluster"].nunique() for kind in kinds],
    }
    scores = xr.Dataset(
        {
            "mean": (("hidden", "score"), means),
            "standard_error": (("hidden", "score"), errors),
            "pit": (("hidden", "tenth"), [_pit(inside[kind]) for kind in kinds]),
            **{name: ("hidden", values) for name, values in counts.items()},
        },
        coords={"hidden": kinds, "score": list(SCORES), "tenth": np.arange(TENTHS) / TENTHS},
    )
    scores["mean"].attrs = {"units": "1", "long_name": "mean over held-out pulls"}
    scores["standard_error"].attrs = {"units": "1", "long_name": "standard error, clustered"}
    scores["pit"].attrs = {"units": "1", "long_name": "share of predicted probability in each tenth"}
    return scores


def summarise_setting(outcomes: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Return the scores of hidden resets and veers, and of whether hidden pulls' anchors set.

    Returns
    -------
    DataFrame, a row for each kind hidden and kind of test
        ``hidden``; ``test``: ``setting`` (pulls of which it is said), ``resets`` or ``veers``; ``tests``;
        ``attempts``: of resets, else as many as tests; ``log_score``, ``brier`` (mean over attempts),
        ``inside_50``, ``inside_90``, each with its ``_error``, clustered; ``brier_of_mean``: Brier score of
        always saying the share that was seen.  NaN where a score is not one of that test.
    """
    rows = []
    for test in ("setting", "resets", "veers"):
        table = _scored(outcomes, test)
        for kind in dict.fromkeys(table["hide"]) if len(table) else ():
            rows.append({"hidden": kind, "test": test, **_setting_row(table[table["hide"] == kind])})
    return pd.DataFrame(rows)


def _setting_row(tests: pd.DataFrame) -> dict[str, float]:
    """Return the scores of one kind of test; what it does not have is NaN."""
    attempts = tests["attempts"] if "attempts" in tests else pd.Series(1.0, tests.index)
    row: dict[str, float] = {"tests": len(tests), "attempts": float(attempts.sum())}
    for score in ("log_score", "brier", "inside_50", "inside_90"):
        # A chance is scored attempt by attempt; a log score or a band belongs to a whole test.
        weight = attempts / attempts.mean() if score == "brier" else 1.0
        values = tests[score] * weight if score in tests else pd.Series(dtype=float)
        row[score] = float(values.mean()) if len(values) else float("nan")
        row[f"{score}_error"] = (
            _error(tests.assign(**{score: values}), score) if len(values) else float("nan")
        )
    seen = float((tests["seen"] * attempts).sum() / attempts.sum()) if "seen" in tests else float("nan")
    return row | {"brier_of_mean": seen * (1.0 - seen)}


def _error(pulls: pd.DataFrame, score: str) -> float:
    """Return the standard error of a mean score over the pulls that one kind of refit hid."""
    values, cluster = pulls[score].to_numpy(), pulls["cluster"].to_numpy()
    if pulls["hide"].iloc[0] != "cells":
        return clustered_error(values, cluster)
    # A refit hides cells far apart: what they miss together comes from a visit or an anchor.
    return crossed_error(values, pulls["visit"].to_numpy(), pulls["anchor"].to_numpy(), cluster)


def _pit(pulls: pd.DataFrame) -> list[float]:
    below, upto = pulls["below"].to_numpy(), pulls["upto"].to_numpy()
    edges = np.arange(TENTHS + 1) / TENTHS
    # An exact load on an edge would count twice; that has probability 0.
    return [float(band_share(below, upto, low, high).mean()) for low, high in pairwise(edges)]

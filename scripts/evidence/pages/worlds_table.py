"""The tables of `worlds.py`: errors over the best possible, coverage, widths; clustered by campaign."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Array = NDArray[np.float64]
BEST, OURS, FORMULA = "best possible", "holdcast", "formula model"


def scores(outcome: dict[str, Any]) -> list[dict[str, Any]]:
    """Return one row a method: error, coverage and width in the hidden cells of one campaign."""
    truth = np.array(outcome["truth"])
    rows = []
    for method, guess in outcome["methods"].items():
        draws = guess.get("draws", 0)
        row: dict[str, Any] = {
            "world": outcome["world"],
            "campaign": (outcome["seed"], outcome["campaign"]),
            "method": method,
            "error": float(np.sqrt(((np.array(guess["middle"]) - truth) ** 2).mean())),
            "seconds": guess["seconds"],
            "divergences_per_1000": 1000.0 * guess["divergences"] / draws if draws else np.nan,
            "ess": guess.get("ess", np.nan),
            "ess_hyper": outcome["verdict"]["ess_hyper"] if method == OURS else np.nan,
            "ok": float(outcome["verdict"]["ok"]) if method == OURS else np.nan,
        }
        if "quantiles" in guess:
            low, low_half, _, high_half, high = np.array(guess["quantiles"])
            row["cover90"] = float(((truth >= low) & (truth <= high)).mean())
            row["cover50"] = float(((truth >= low_half) & (truth <= high_half)).mean())
            row["width90"] = float((high - low).mean())
        rows.append(row)
    return rows


def mean_and_error(values: Array) -> tuple[float, float]:
    """Return the mean over campaigns and its standard error; NaN for a single one."""
    count = len(values)
    return float(values.mean()), float(values.std(ddof=1) / np.sqrt(count)) if count > 1 else float("nan")


def ratio(frame: pd.DataFrame, over: str) -> dict[str, tuple[float, float]]:
    """Return each method's geometric-mean error ratio over another's, with the standard error of its log."""
    indexed = frame.set_index(["world", "campaign", "method"])["error"]
    wide = np.log(indexed.unstack("method"))  # noqa: PD010, a table of unique rows
    return {method: mean_and_error((wide[method] - wide[over]).to_numpy()) for method in wide}


def _line(cells: list[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def markdown_table(head: list[str], rows: list[list[str]]) -> str:
    """Return rows under a head as a Markdown table."""
    return "\n".join([_line(head), _line(["---"] * len(head)), *map(_line, rows)])


def _by(text: tuple[float, float]) -> str:
    """Show a ratio with its standard error, from the log scale."""
    middle = np.exp(text[0])
    return f"{middle:.2f} ± {middle * text[1]:.2f}"


def _share(text: tuple[float, float]) -> str:
    return f"{100 * text[0]:.1f} ± {100 * text[1]:.1f}"


def errors_table(frame: pd.DataFrame, methods: list[str]) -> str:
    """Return root-mean-square errors over the best possible, world by world, and ours over the formula's."""
    rows = []
    for world, inside in [*frame.groupby("world", sort=False), ("all", frame)]:
        over_best, over_formula = ratio(inside, BEST), ratio(inside, FORMULA)
        best = inside.loc[inside["method"] == BEST, "error"].to_numpy()
        number = str(len(best))
        rows.append(
            [str(world), number, f"{np.sqrt((best**2).mean()):.3f}"]
            + [_by(over_best[method]) for method in methods]
            + [_by(over_formula[OURS])]
        )
    return markdown_table(["world", "campaigns", "best possible", *methods, f"{OURS} / {FORMULA}"], rows)


def bands_table(frame: pd.DataFrame) -> str:
    """Return coverage and mean width of every method that has bands, world by world."""
    banded = frame.dropna(subset=["cover90"])
    methods = list(dict.fromkeys(banded["method"]))
    rows = []
    for world, inside in [*banded.groupby("world", sort=False), ("all", banded)]:
        for method in methods:
            of = inside[inside["method"] == method]
            cover90, cover50 = (mean_and_error(of[c].to_numpy()) for c in ("cover90", "cover50"))
            rows.append([str(world), method, _share(cover90), _share(cover50), f"{of['width90'].mean():.2f}"])
    return markdown_table(
        ["world", "method", "90% bands cover, %", "50% bands cover, %", "mean width of 90%, log"], rows
    )


def sampling_table(frame: pd.DataFrame) -> str:
    """Return divergences, effective sample sizes and seconds of the two sampled methods."""
    rows = []
    for world, inside in [*frame.groupby("world", sort=False), ("all", frame)]:
        for method in (OURS, FORMULA):
            of = inside[inside["method"] == method]
            divergences = of["divergences_per_1000"]
            texts = [f"{divergences.mean():.1f}", f"{divergences.max():.1f}", f"{of['ess'].min():.0f}"]
            own = [f"{of['ess_hyper'].min():.0f}", f"{of['ok'].mean():.0%}"] if method == OURS else ["", ""]
            rows.append([str(world), method, *texts, *own, f"{of['seconds'].mean():.1f}"])
    head = ["world", "method", "divergences in 1,000 draws", "most", "least ESS, cells"]
    return markdown_table([*head, "least ESS, hyperparameters", "good verdicts", "seconds"], rows)


def worlds_table(outcomes: list[dict[str, Any]]) -> str:
    """Return the three tables as Markdown, or a line that says there is nothing yet."""
    if not outcomes:
        return "no campaign has been run yet"
    frame = pd.DataFrame([row for outcome in outcomes for row in scores(outcome)])
    methods = [method for method in dict.fromkeys(frame["method"]) if method != BEST]
    versions = sorted({outcome["model"] for outcome in outcomes})
    return "\n\n".join(
        [
            "Error of log capacity in the hidden cells over the best possible's: geometric mean over "
            "campaigns ± standard error by campaign. The best possible's own column is its rms error.",
            errors_table(frame, methods),
            bands_table(frame),
            sampling_table(frame),
            f"Versions of the model (digest of its source): {', '.join(versions)}.",
        ]
    )

"""Tables of how much each way to spend a day narrowed, over campaigns, with standard errors."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pages.worlds_table import markdown_table, mean_and_error

__all__ = ["tables"]

Array = NDArray[np.float64]


def tables(outcomes: list[dict[str, Any]]) -> str:
    """Return two Markdown tables: each way on its own, and the plan against the others, paired."""
    ways = list(outcomes[0]["days"])
    good = [each for each in outcomes if all(map(_good, (each, *each["days"].values())))]
    worlds = len({each["world"] for each in outcomes})
    head = f"{len(outcomes)} campaigns of {worlds} worlds; every quick fit good in {len(good)} of them."
    return "\n\n".join([head, _each(outcomes, ways), _paired(outcomes, ways)])


def _good(fit: dict[str, Any]) -> bool:
    """Return whether a fit meets what `fit --quick` asks of its cells."""
    return bool(fit["rhat"] <= 1.05 and fit["ess"] >= 100)


def _each(outcomes: list[dict[str, Any]], ways: list[str]) -> str:
    rows = [["before", "", "", "", *_known([each["before"] for each in outcomes])]]
    for way in ways:
        days = [each["days"][way] for each in outcomes]
        pulls = np.array([sum(test[2] for test in day["tests"]) for day in days], dtype=float)
        expected = np.array([day["expected"]["cells"] for day in days])
        narrower = _percent(_narrower(outcomes, way))
        rows.append([way, f"{pulls.mean():.1f}", _percent(expected), narrower, *_known(days)])
    columns = ["day", "pulls", "expected narrower", "really narrower", "mean width", "error (rms)"]
    return markdown_table([*columns, "90% bands cover", "pairs in the wrong order"], rows)


def _known(fits: list[dict[str, Any]]) -> list[str]:
    width, error, cover, wrong = (
        np.array([each[name] for each in fits], dtype=float) for name in ("width", "error", "cover", "wrong")
    )
    return [f"{width.mean():.3f}", f"{error.mean():.4f}", _percent(cover), f"{wrong.mean():.1f}"]


def _paired(outcomes: list[dict[str, Any]], ways: list[str]) -> str:
    rows = []
    for way in ways[1:]:
        more = _narrower(outcomes, ways[0]) - _narrower(outcomes, way)
        error, wrong = (
            np.array([each["days"][way][name] - each["days"][ways[0]][name] for each in outcomes])
            for name in ("error", "wrong")
        )
        pair = f"{ways[0]} against {way}"
        times = f"{int((more > 0).sum())} of {len(more)}"
        rows.append([pair, _percent(more), times, _number(error, 4), _number(wrong, 1)])
    return markdown_table(
        ["paired", "narrower by", "narrower in", "error less by", "fewer wrong pairs"], rows
    )


def _narrower(outcomes: list[dict[str, Any]], way: str) -> Array:
    return np.array([1.0 - each["days"][way]["width"] / each["before"]["width"] for each in outcomes])


def _percent(values: Array) -> str:
    middle, error = mean_and_error(100.0 * values)
    return f"{middle:.1f}% ± {error:.1f}"


def _number(values: Array, digits: int) -> str:
    middle, error = mean_and_error(values)
    return f"{middle:.{digits}f} ± {error:.{digits}f}"

"""What ranks add up to: a table with a small histogram a quantity, the failing ones named, and a figure."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from holdcast.answers.criticise.trends import holm
from simulated.ranks import ecdf_band, evenness_p_value

BINS = 10
LEVEL = 0.05  # after Holm's adjustment for the number of quantities
_BLOCKS = " ▁▂▃▄▅▆▇█"
Outcomes = Sequence[dict[str, Any]]


def ranks_of(outcomes: Outcomes) -> dict[str, NDArray[np.int64]]:
    """Return the ranks of each quantity over campaigns."""
    names = list(outcomes[0]["ranks"]) if outcomes else []
    return {name: np.array([outcome["ranks"][name] for outcome in outcomes]) for name in names}


def p_values(outcomes: Outcomes) -> dict[str, tuple[float, float]]:
    """Return each quantity's p-value, plain and adjusted for their number."""
    ranks = ranks_of(outcomes)
    if not ranks:
        return {}
    plain = np.array([evenness_p_value(values, outcomes[0]["thinned"]) for values in ranks.values()])
    return dict(zip(ranks, zip(plain.tolist(), holm(plain).tolist(), strict=True), strict=True))


def failing(outcomes: Outcomes) -> list[str]:
    """Return the names of quantities whose ranks are not even."""
    return [name for name, (_, adjusted) in p_values(outcomes).items() if adjusted < LEVEL]


def _histogram(ranks: NDArray[np.int64], thinned: int) -> str:
    counts = np.histogram(ranks, BINS, (0, thinned + 1))[0]
    most = max(2.0 * len(ranks) / BINS, counts.max(), 1.0)
    return "".join(_BLOCKS[round(8 * count / most)] for count in counts)


def calibration_table(outcomes: Outcomes) -> str:
    """Return the table as Markdown, the failing quantities in its last line."""
    if not outcomes:
        return "no campaign has been run yet with this model"
    thinned = outcomes[0]["thinned"]
    lines = [
        "| quantity | mean rank, % | ranks, low to high | p | p, adjusted |",
        "| --- | --- | --- | --- | --- |",
    ]
    p = p_values(outcomes)
    for name, ranks in ranks_of(outcomes).items():
        plain, adjusted = p[name]
        mean = 100.0 * ranks.mean() / thinned
        lines.append(
            f"| {name} | {mean:.1f} | `{_histogram(ranks, thinned)}` | {plain:.3f} | {adjusted:.2f} |"
        )
    bad, uneven = sum(not outcome["ok"] for outcome in outcomes), failing(outcomes)
    divergences = 1000.0 * sum(o["divergences"] for o in outcomes) / sum(o["draws"] for o in outcomes)
    verdict = f"FAILING: {', '.join(uneven)}." if uneven else "No quantity fails."
    heading = (
        f"{len(outcomes)} campaigns, model {outcomes[0]['model']}; {bad} with a bad verdict on "
        f"cells (counted all the same); {divergences:.2f} divergences in 1,000 draws. {verdict}"
    )
    return "\n".join([*lines, "", heading])


def save_figure(outcomes: Outcomes, path: Path) -> None:
    """Draw each quantity's rank distribution minus the even one, with its simultaneous 95% band, as SVG."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    ranks, thinned = ranks_of(outcomes), outcomes[0]["thinned"]
    share, low, high = ecdf_band(len(outcomes), thinned)
    columns = 6
    rows = -(-len(ranks) // columns)
    uneven = failing(outcomes)
    with mpl.rc_context({"svg.hashsalt": "holdcast", "font.size": 6}):
        figure = Figure(figsize=(11.0, 1.35 * rows), layout="constrained")
        for axes, (name, values) in zip(figure.subplots(rows, columns).ravel(), ranks.items(), strict=False):
            observed = (values[:, None] < np.arange(1, thinned + 1)).mean(axis=0)
            axes.fill_between(share, low - share, high - share, color="0.85", linewidth=0)
            axes.plot(
                share, observed - share, color="#b03a2e" if name in uneven else "#1f4e79", linewidth=0.8
            )
            axes.set_title(name, color="#b03a2e" if name in uneven else "black")
            axes.set_xlim(0.0, 1.0)
            axes.set_xticks([0.0, 0.5, 1.0])
        for axes in figure.axes[len(ranks) :]:
            axes.set_visible(False)
        path.parent.mkdir(parents=True, exist_ok=True)
        figure.savefig(path, metadata={"Date": None})

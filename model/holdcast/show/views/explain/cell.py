"""One cell explained: where its band comes from, which trials move it, whether its pulls look as expected."""

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from holdcast.show.figures.sheet import Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.layout import terminal_width, wrap
from holdcast.show.text.numbers import format_load, format_share, load_unit, to_screen_load
from holdcast.show.text.plain_table import factor_text, plain_table
from holdcast.show.text.sentences import provenance_sentence

__all__ = ["Explained", "explain_lines", "explain_sheet"]

_PARTS = {
    "own pulls": "its own pulls: spot and day of the visits, scatter",
    "design elsewhere": "the design, as other seabeds tell of it",
    "design here": "design, hidden traits and configuration in this seabed",
    "features": "features",
    "form": "form",
    "size, tip load, area": "size, tip load, area",
    "ground": "ground",
}
_SHOWN_TRIALS = 3
_TICKS = [step * 10.0**power for power in range(-3, 6) for step in (1, 1.5, 2, 3, 4, 5, 7)]
_NINETY = 2 * 1.6449  # standard deviations in a normal 90% band


class Explained(NamedTuple):
    """The answers about one cell, as ``holdcast.answers`` gives them."""

    cell: xr.Dataset
    sources: xr.Dataset
    trials: xr.Dataset
    pulls: xr.Dataset
    priors: xr.Dataset
    spreads: xr.Dataset


def explain_lines(answer: Explained, units: str, trusted_k: float, *, width: int | None = None) -> list[str]:
    """Return everything about the cell as wrapped sentences and small tables.

    Parameters
    ----------
    answer : Explained
    units : {"si", "us"}
    trusted_k : float
        Above this Pareto k an estimate is marked as not to be trusted.
    """
    room = terminal_width() if width is None else width
    sources = [
        [_PARTS[str(part)], format_share(min(float(share), 1.0))]
        for part, share in zip(
            answer.sources["part"].to_numpy(), answer.sources["share"].to_numpy(), strict=True
        )
    ]
    trials = _trial_rows(answer.trials, trusted_k)
    pulls = _pull_rows(answer.pulls, units)
    blocks = [
        [
            line
            for text in (headline(answer.cell, units), width_sentence(answer.cell, trusted_k))
            for line in wrap(text, room)
        ],
        [
            "Where the band comes from (shares of the variance):",
            *plain_table(["part", "share"], sources, numbers=(1,), width=room),
        ],
        [
            "The most influential trials, each left out by itself:",
            *plain_table(_TRIAL_HEADER, trials, numbers=(3, 4, 5), width=room),
        ],
        ["Its pulls against what the other trials lead one to expect:", *_or_none(pulls, units, room)],
        wrap(check_sentence(answer.pulls), room),
        [
            line
            for text in (*prior_sentences(answer.priors), *spread_sentences(answer.spreads, answer.cell))
            for line in wrap(text, room)
        ],
    ]
    return [line for block in blocks for line in (*block, "")][:-1]


def headline(cell: xr.Dataset, units: str) -> str:
    """Return the cell's capacity with its band and what stands behind it."""
    low, middle, high = (
        format_load(float(cell["capacity_n"].sel(quantile=q)), units) for q in (0.05, 0.5, 0.95)
    )
    pulls, visits = int(cell["pulls"]), int(cell["visits"])
    known = "untested, nobody pulled it here"
    if pulls:
        known = f"tested, {pulls} pull{'s' * (pulls > 1)} on {visits} visit{'s' * (visits > 1)}"
    place = f"{cell.attrs['anchor']} in {cell.attrs['seabed']}"
    least = {
        "at least": " No pull let go here: read it as at least this much.",
        "at most": " No pull held here: read it as at most this much.",
    }.get(str(cell["bounded"].item()), "")
    return f"{place}: {middle} {load_unit(units)} (90% band {low} to {high}); {known}.{least}"


def width_sentence(cell: xr.Dataset, trusted_k: float) -> str:
    """Say how wide the band is, and how wide it would be without the cell's own pulls, if that is known."""
    spans = [factor_text(math.exp(_NINETY * float(cell[name]))) for name in ("sd", "sd_without")]
    if not int(cell["pulls"]):
        return f"The 90% band spans a factor of {spans[0]}; there is no pull of its own in it."
    shape = float(cell["sd_without_pareto_k"])
    rough = "" if shape <= trusted_k else f" (roughly: few draws tell of it, Pareto k {shape:.1f})"
    return (
        f"The 90% band spans a factor of {spans[0]}; without its own pulls it would span a factor of about "
        f"{spans[1]}{rough}, and its middle could lie elsewhere."
    )


_WORTH_SAYING = 0.05  # change of a band's width (a choice)
_SPREADS = {
    "ground_spread": "seabeds",
    "form_spread": "forms",
    "form_seabed_spread": "forms by seabed",
    "feature_seabed_spread": "features by seabed",
    "design_spread": "designs",
    "visit_spread": "visits",
    "spot_spread": "spots of a visit",
    "pull_scatter_typical": "pulls",
}


def spread_sentences(spreads: xr.Dataset, cell: xr.Dataset) -> list[str]:
    """Say how the band's width depends on what was assumed of each spread before the data."""
    widths = {
        _SPREADS[str(name)]: spreads["width"].sel(spread=name).to_numpy().astype(float)
        for name in spreads["spread"].to_numpy()
    }
    unclear = [name for name, pair in widths.items() if np.isnan(pair).any()]
    moved = [
        f"{name} ×{factor_text(float(pair[0]))} and ×{factor_text(float(pair[1]))}"
        for name, pair in widths.items()
        if name not in unclear and np.abs(pair - 1.0).max() >= _WORTH_SAYING
    ]
    sentences = []
    if moved:
        sentences.append(
            "Had the spread of one of these been expected half or twice as large, the band would change in "
            f"width (log scale): {'; '.join(moved)}."
        )
    if unclear:
        sentences.append(f"Too few draws tell what another expectation would do for: {', '.join(unclear)}.")
    if not int(cell["visited_again"]):
        sentences.append(
            "No seabed was visited twice, so nothing in the log tells how much visits differ: that is taken "
            "from the prior."
        )
    return sentences


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
    header = ["trial", f"load, {load_unit(units)}", "expected (90% band)", ""]
    return plain_table(header, rows, width=width)


def check_sentence(pulls: xr.Dataset) -> str:
    """Count the pulls outside their band; one in ten should be."""
    number, outside = pulls.sizes["trial"], int(pulls["surprising"].sum())
    if not number:
        return "Loads are at reference conditions: at the anchor, along the bottom, at rest."
    return (
        f"{outside} of {number} pulls lie outside the 90% band expected of them by the other trials; one in "
        "ten should. "
        "Loads are at reference conditions: at the anchor, along the bottom, at rest."
    )


def prior_sentences(priors: xr.Dataset) -> list[str]:
    """Say which priors the cell is sensitive to, and whether the prior dominates."""
    pairs = list(zip(priors["group"].to_numpy().tolist(), priors["prior"].to_numpy().tolist(), strict=True))
    listed = ", ".join(f"{name} {value:.2f}" for name, value in pairs)
    pulls = f"to all pulls together {float(priors['likelihood']):.2f}"
    said = f"Sensitivity to the priors (from 0.05 on it counts): {listed}; {pulls}."
    dominating = [str(name) for name in priors["group"].to_numpy()[priors["dominates"].to_numpy()]]
    torn = [str(name) for name in priors["group"].to_numpy()[priors["conflict"].to_numpy()]]
    if dominating:
        return [
            said,
            f"THE PRIOR DOMINATES here ({', '.join(dominating)}): the log says little of this cell.",
        ]
    if torn:
        return [
            said,
            f"Both the prior ({', '.join(torn)}) and the pulls count: they may pull apart, so look at both.",
        ]
    return [said, "The pulls count for more than the priors, or neither moves the cell much."]


def explain_sheet(answer: Explained, units: str, attributes: Mapping[Any, Any], *, reliable: bool) -> Sheet:
    """Return the picture: the cell with and without its own pulls, and each pull beside its band."""
    cell, (low, high) = answer.cell, _limits(answer, units)
    number = answer.pulls.sizes["trial"]
    pulls = [answer.pulls.isel(trial=place) for place in range(number)]
    own = _cell_marks(cell, units)
    notes = ["", "width only"][: len(own)] + ["outside" if bool(pull["surprising"]) else "" for pull in pulls]
    marks: list[tuple[Mark, ...]] = [(mark,) for mark in own]
    marks += [_pull_marks(pull, units, (low, high)) for pull in pulls]
    fine = [tick for tick in _TICKS if low <= tick <= high]
    return Sheet(
        title=f"{cell.attrs['anchor']} in {cell.attrs['seabed']}",
        reading=(
            f"Load at the anchor in {load_unit(units)}, logarithmic scale. Dot: median; bar: 50% band; "
            "line: 90% band.",
            "A pull's full line is what was measured (open ends run to the edge); the dashed line below it "
            "is the "
            "90% band that the other trials lead one to expect.",
        ),
        headings=["this cell"] * len(own) + ["pulls: measured above, expected below"] * number,
        names=["capacity", "without its own pulls"][: len(own)]
        + [str(pull["trial"].item()) for pull in pulls],
        panels=[Panel("", marks, notes)],
        ticks=fine if high < 10 * low else (),
        limits=(low, high),
        logarithmic=True,
        note_heading="",
        foot=(" ".join(CAUTIONS), provenance_sentence(attributes)),
        reliable=reliable,
        note_width=0.8,
    )


def _cell_marks(cell: xr.Dataset, units: str) -> list[Mark]:
    """Return the cell's band and, when it has pulls of its own, one as wide as it would be without them."""
    low, lower, middle, upper, high = (to_screen_load(float(n), units) for n in cell["capacity_n"].to_numpy())
    tested = int(cell["pulls"]) > 0
    half = math.exp(_NINETY / 2 * float(cell["sd_without"]))
    marks = [Mark(low, high, middle, lower, upper, filled=tested)]
    return [*marks, Mark(middle / half, middle * half, filled=False)] if tested else marks


def _limits(answer: Explained, units: str) -> tuple[float, float]:
    """Return the ends of the load axis: all that is drawn, with a little air."""
    ends = [end for mark in _cell_marks(answer.cell, units) for end in (mark.low, mark.high)]
    logs = [
        float(value)
        for name in ("expected", "lower", "upper")
        for value in answer.pulls[name].to_numpy().ravel()
    ]
    ends += [to_screen_load(math.exp(value), units) for value in logs if math.isfinite(value)]
    return min(ends) / 1.1, max(ends) * 1.1


def _pull_marks(pull: xr.Dataset, units: str, limits: tuple[float, float]) -> tuple[Mark, ...]:
    measured = [to_screen_load(math.exp(float(pull[name])), units) for name in ("lower", "upper")]
    low, high = max(measured[0], limits[0]), min(measured[1], limits[1])
    expected = [to_screen_load(math.exp(float(value)), units) for value in pull["expected"].to_numpy()]
    return Mark(low, high, low if low == high else None), Mark(
        expected[0], expected[2], expected[1], filled=False
    )

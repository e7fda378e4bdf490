"""One cell explained: where its band comes from, which trials move it, whether its pulls look as expected."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from holdcast.show.figures.sheet import Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.numbers import format_load, format_share, load_unit, to_screen_load
from holdcast.show.text.plain_table import factor_text, plain_table
from holdcast.show.text.sentences import provenance_sentence
from holdcast.show.text.text_columns import terminal_width, wrap
from holdcast.show.views.explain.pulls import pull_lines, trial_lines
from holdcast.show.views.explain.setting import part_rows, setting_lines, unknown_sentences

__all__ = ["Explained", "explain_lines", "explain_sheet"]

_PARTS = {
    "own pulls": "its own pulls: spot and day of the visits, scatter",
    "design elsewhere": "the design, as other seabeds tell of it",
    "design here": "design, hidden traits and configuration in this seabed",
    "features": "features",
    "fluke angle": "fluke angle",
    "form": "form",
    "size, tip load, area": "size, tip load, area",
    "ground": "ground",
}
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
    setting: xr.Dataset
    setting_sources: xr.Dataset


def explain_lines(
    answer: Explained,
    units: str,
    trusted_k: float,
    little: float,
    *,
    everything: bool = False,
    width: int | None = None,
) -> list[str]:
    """Return what is known of the cell as wrapped sentences and small tables.

    Parameters
    ----------
    answer : Explained
    units : {"si", "us"}
    trusted_k : float
        Above this Pareto k an estimate is marked as not to be trusted.
    little : float
        Below this contraction a chance is called mostly the prior's.
    everything : bool
        False keeps it to a screen: few pulls, the conclusions on priors, parts of the design together.
    """
    room = terminal_width() if width is None else width
    headings, parts = part_rows(answer.sources, answer.setting_sources)
    numbers = tuple(range(1, len(headings)))
    blocks = [
        _wrapped((headline(answer.cell, units), width_sentence(answer.cell, trusted_k)), room),
        [
            "Where the bands come from (shares of the variance):",
            *plain_table(headings, parts, numbers=numbers, width=room),
        ],
        [
            "Setting, with the tests that speak of it, done of tried:",
            *setting_lines(answer.setting, width=room),
            *_wrapped(unknown_sentences(answer.setting, little), room),
        ],
        trial_lines(answer.trials, trusted_k, room, everything=everything),
        pull_lines(answer.pulls, units, room, everything=everything),
        _prior_block(answer, room, everything=everything),
    ]
    if everything:
        blocks.insert(2, _all_sources(answer.sources, room))
    return [line for block in blocks for line in (*block, "")][:-1]


def _wrapped(sentences: Sequence[str], width: int) -> list[str]:
    return [line for text in sentences for line in wrap(text, width)]


def _all_sources(sources: xr.Dataset, width: int) -> list[str]:
    rows = [
        [_PARTS[str(part)], format_share(min(float(share), 1.0))]
        for part, share in zip(sources["part"].to_numpy(), sources["share"].to_numpy(), strict=True)
    ]
    return ["Capacity, part by part:", *plain_table(["part", "share"], rows, numbers=(1,), width=width)]


def _prior_block(answer: Explained, width: int, *, everything: bool) -> list[str]:
    sensitivity, conclusion = prior_sentences(answer.priors)
    spreads = spread_sentences(answer.spreads, answer.cell)
    return _wrapped([sensitivity, conclusion, *spreads] if everything else [conclusion, *spreads], width)


def headline(cell: xr.Dataset, units: str) -> str:
    """Return the cell's capacity with its band and what stands behind it."""
    low, middle, high = (
        format_load(float(cell["capacity_n"].sel(quantile=q)), units) for q in (0.05, 0.5, 0.95)
    )
    pulls, visits = int(cell["pulls"]), int(cell["visits"])
    evidence = "untested, nobody pulled it here"
    if pulls:
        evidence = f"tested, {pulls} pull{'s' * (pulls > 1)} on {visits} visit{'s' * (visits > 1)}"
    place = f"{cell.attrs['anchor']} in {cell.attrs['seabed']}"
    least = {
        "at least": " No pull let go here: read it as at least this much.",
        "at most": " No pull held here: read it as at most this much.",
    }.get(str(cell["bounded"].item()), "")
    return f"{place}: {middle} {load_unit(units)} (90% band {low} to {high}); {evidence}.{least}"


def width_sentence(cell: xr.Dataset, trusted_k: float) -> str:
    """Say how wide the band is, and how wide it would be without the cell's own pulls, if that is known."""
    spans = [factor_text(math.exp(_NINETY * float(cell[name]))) for name in ("sd", "sd_without")]
    if not int(cell["pulls"]):
        return f"The 90% band spans a factor of {spans[0]}; no pull of its own is in it."
    shape = float(cell["sd_without_pareto_k"])
    rough = "" if shape <= trusted_k else f" (roughly: few draws say so, Pareto k {shape:.1f})"
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
            "Width of the band (log scale), had one of these spreads been expected half or twice as large: "
            f"{'; '.join(moved)}."
        )
    if unclear:
        sentences.append(f"Too few draws say what another expectation would do for: {', '.join(unclear)}.")
    if not int(cell["visited_again"]):
        sentences.append("No seabed was visited twice, so how much visits differ is taken from the prior.")
    return sentences


def prior_sentences(priors: xr.Dataset) -> list[str]:
    """Say which priors the cell is sensitive to, and whether the prior dominates."""
    pairs = list(zip(priors["group"].to_numpy().tolist(), priors["prior"].to_numpy().tolist(), strict=True))
    listed = ", ".join(f"{name} {value:.2f}" for name, value in pairs)
    pulls = f"to all pulls together {float(priors['likelihood']):.2f}"
    sensitivity = f"Sensitivity to the priors (from 0.05 on it counts): {listed}; {pulls}."
    dominating = [str(name) for name in priors["group"].to_numpy()[priors["dominates"].to_numpy()]]
    torn = [str(name) for name in priors["group"].to_numpy()[priors["conflict"].to_numpy()]]
    if dominating:
        return [
            sensitivity,
            f"THE PRIOR DOMINATES here ({', '.join(dominating)}): the log says little of this cell.",
        ]
    if torn:
        return [
            sensitivity,
            f"Both the prior ({', '.join(torn)}) and the pulls count: they may pull apart, so look at both.",
        ]
    return [sensitivity, "The pulls count for more than the priors, or neither moves the cell much."]


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

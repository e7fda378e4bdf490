"""The class test as a table, sentences and a picture."""

import math

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.physics.tackle.class_comparison import HOLDING_RATIO
from holdcast.show.figures.sheet import Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.numbers import format_chance
from holdcast.show.text.plain_table import plain_table
from holdcast.show.text.sentences import provenance_sentence

__all__ = [
    "MOST_ANCHORS",
    "class_lines",
    "class_sentences",
    "class_sheet",
    "lacking_sentences",
    "missing_lines",
]

Floats = NDArray[np.float64]
MOST_ANCHORS = 20
"""Rows that fit a screen beside the sentences."""
_COULD_REACH = 0.05

_NAMES = {
    "soft": "soft mud or silt",
    "sand": "sand or gravel",
    "hard_clay": "hard clay",
    "": "no bottom of the rule",
}


def _chance(value: float) -> str:
    return "not tested" if math.isnan(value) else format_chance(value)


def class_lines(answer: xr.Dataset, *, everything: bool = True) -> list[str]:
    """Return by anchor the chance of twice and four times the stockless capacity on each bottom and on all.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.classtest.classtest.class_test``.
    everything : bool
        False leaves out anchors with a chance below 5% of twice on every bottom, and those beyond the first
        `MOST_ANCHORS` by that chance.
    """
    chances = xr.concat(
        [answer["reaches_bottom"], answer["reaches_all"].expand_dims(bottom=["all"])], "bottom"
    )
    tested = [
        str(bottom) for bottom in chances["bottom"].to_numpy() if chances.sel(bottom=bottom).notnull().any()
    ]
    likely = answer["reaches_bottom"].sel(kind="hhp").max("bottom").fillna(0.0).to_numpy()
    anchors_shown = _shown(likely, everything=everything)
    rows = [
        [
            str(anchor),
            *(
                " / ".join(_chance(float(each)) for each in chances.sel(anchor=anchor, bottom=bottom))
                for bottom in tested
            ),
        ]
        for anchor in answer["anchor"].to_numpy()[anchors_shown]
    ]
    names = ["all three" if bottom == "all" else _NAMES[bottom] for bottom in tested]
    hidden = len(likely) - len(anchors_shown)
    more = [f"… and {hidden} more with --all"] if hidden else []
    return [*plain_table(("anchor", *names), rows), *more]


def _shown(likely: Floats, *, everything: bool) -> list[int]:
    """Return the places of the anchors that are shown, in the order of the campaign."""
    if everything:
        return list(range(len(likely)))
    best = np.argsort(-likely, kind="stable")[:MOST_ANCHORS]
    return sorted(place for place in best.tolist() if round(likely[place], 2) >= _COULD_REACH)


def class_sentences(answer: xr.Dataset) -> list[str]:
    """Return what was compared, on which seabeds, and that no class follows from it."""
    bottoms = answer["bottom_of_seabed"].to_numpy()
    by_bottom = []
    for bottom in answer["bottom"].to_numpy():
        here = [str(s) for s, b in zip(answer["seabed"].to_numpy(), bottoms, strict=True) if b == bottom]
        by_bottom.append(f"{_NAMES[str(bottom)]}: {', '.join(here) or 'no such seabed in the campaign'}")
    return [
        "Chance that a pull sets and holds at least 2 / 4 times what the stockless "
        f"{answer.attrs['references']} holds at equal mass, set and scaled by the fit (IACS UR A1.4 asks for "
        "these ratios).",
        f"Bottoms: {'; '.join(by_bottom)}. Over several seabeds of one bottom the geometric mean of the "
        "ratio counts.",
        "No class follows from this: a class society awards one, after tests that it attends.",
    ]


def lacking_sentences(needs: xr.Dataset) -> list[str]:
    """Return in a sentence for each ratio how many designs lack which tests of the rule.

    Parameters
    ----------
    needs : Dataset, dims (design, kind, requirement)
        As from ``holdcast.answers.classtest.requirements.class_requirements``.
    """
    designs = [str(label) for label in needs["design"].to_numpy()]
    sentences = []
    for kind in map(str, needs["kind"].to_numpy()):
        met = needs["met"].sel(kind=kind).all("requirement").to_numpy()
        whole = [design for design, reached in zip(designs, met, strict=True) if reached]
        has = f"{len(whole)} of {len(designs)} designs" if whole else "no design"
        named = f": {', '.join(whole)}" if whole else ""
        verb = "have" if len(whole) > 1 else "has"
        sentences.append(
            f"The rule's own tests for {HOLDING_RATIO[kind]:g} times: {has} {verb} them all{named}."
        )
    return [*sentences, "Which tests are lacking: --all."]


def missing_lines(needs: xr.Dataset) -> list[str]:
    """Return which tests of the rule the campaign lacks, a table for each ratio, alike designs together.

    Parameters
    ----------
    needs : Dataset, dims (design, kind, requirement)
        As from ``holdcast.answers.classtest.requirements.class_requirements``.
    """
    lines = []
    for kind in needs["kind"].to_numpy():
        rows = [
            row
            for place in range(needs.sizes["requirement"])
            for row in _lacking(needs.sel(kind=kind).isel(requirement=place))
        ]
        ratio = f"{HOLDING_RATIO[str(kind)]:g} times"
        if rows:
            lines += ["", f"Tests that the rule asks for and the campaign lacks, {ratio}:"]
            lines += plain_table(("the rule asks for", "the campaign has", "designs"), rows)
        else:
            lines += ["", f"The campaign has every test that the rule asks for, {ratio}."]
    return lines


def _lacking(need: xr.Dataset) -> list[tuple[str, str, str]]:
    """Return rows (asked, found, designs) of one requirement, for the designs that do not meet it."""
    groups: dict[str, list[str]] = {}
    for design in need["design"].to_numpy()[~need["met"].to_numpy()]:
        groups.setdefault(str(need["found"].sel(design=design).item()), []).append(str(design))
    every = len(groups) == 1 and not need["met"].any()
    rule = [str(need["asked"].item())] + [""] * len(groups)
    return [
        (rule[place], status, "every one" if every else ", ".join(designs))
        for place, (status, designs) in enumerate(groups.items())
    ]


def class_sheet(answer: xr.Dataset, *, reliable: bool = True) -> Sheet:
    """Return the picture: the ratio with its 90% band by seabed, and the chance of twice the stockless."""
    ratio = answer["ratio"]
    low, high = min(float(ratio.min()), 1.0) / 1.15, max(float(ratio.max()), 4.0) * 1.15
    order = np.argsort(answer["form"].to_numpy(), kind="stable")
    panels = []
    for seabed, bottom in zip(
        answer["seabed"].to_numpy(), answer["bottom_of_seabed"].to_numpy(), strict=True
    ):
        cells = answer.sel(seabed=seabed).isel(anchor=order)
        bands = cells["ratio"].transpose("anchor", "quantile").to_numpy()
        marks = [[Mark(float(row[0]), float(row[2]), float(row[1]))] for row in bands]
        notes = [_chance(float(chance)) for chance in cells["reaches"].sel(kind="hhp")]
        panels.append(Panel(f"{seabed} ({_NAMES[str(bottom)]})", marks, notes))
    steps = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0)
    return Sheet(
        title="Capacity over that of a stockless anchor of equal mass",
        reading=(
            f"Ratio, logarithmic: dot median, line 90% band; stockless {answer.attrs['references']} "
            f"scaled by "
            "the fit. Upright line: twice. Beside: chance that a pull sets and holds at least twice.",
        ),
        headings=[str(form) for form in answer["form"].to_numpy()[order]],
        names=[str(name) for name in answer["anchor"].to_numpy()[order]],
        panels=panels,
        ticks=[step for step in steps if low <= step <= high],
        limits=(low, high),
        logarithmic=True,
        note_heading="twice",
        foot=(" ".join(CAUTIONS), provenance_sentence(answer.attrs)),
        reference=2.0,
        reliable=reliable,
    )

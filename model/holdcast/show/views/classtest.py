"""The class test as a table, sentences and a picture."""

import math

import numpy as np
import xarray as xr

from holdcast.physics.tackle.class_comparison import HOLDING_RATIO
from holdcast.show.figures.sheet import Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.numbers import format_chance
from holdcast.show.text.plain_table import plain_table
from holdcast.show.text.sentences import provenance_sentence

__all__ = ["class_lines", "class_sentences", "class_sheet", "missing_lines"]

_NAMES = {
    "soft": "soft mud or silt",
    "sand": "sand or gravel",
    "hard_clay": "hard clay",
    "": "no bottom of the rule",
}


def _chance(value: float) -> str:
    return "not tested" if math.isnan(value) else format_chance(value)


def class_lines(answer: xr.Dataset) -> list[str]:
    """Return by anchor the chance of twice and four times the stockless capacity on each bottom and on all.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.classtest.classtest.class_test``.
    """
    rows = []
    for anchor in answer["anchor"].to_numpy():
        for kind in answer["kind"].to_numpy():
            cell = answer.sel(anchor=anchor, kind=kind)
            chances = [float(chance) for chance in (*cell["reaches_bottom"], cell["reaches_all"])]
            rows.append((str(anchor), f"{float(cell['needed']):g}", *map(_chance, chances)))
    names = [_NAMES[str(bottom)] for bottom in answer["bottom"].to_numpy()]
    return plain_table(("anchor", "times", *names, "all three"), rows)


def class_sentences(answer: xr.Dataset) -> list[str]:
    """Return what was compared, on which seabeds, and that no class follows from it."""
    bottoms = answer["bottom_of_seabed"].to_numpy()
    told = []
    for bottom in answer["bottom"].to_numpy():
        here = [str(s) for s, b in zip(answer["seabed"].to_numpy(), bottoms, strict=True) if b == bottom]
        told.append(f"{_NAMES[str(bottom)]}: {', '.join(here) or 'no such seabed in the campaign'}")
    return [
        f"Chance that the capacity is at least 2 and 4 times that of the stockless "
        f"{answer.attrs['references']} of "
        "equal mass, scaled by the fit (IACS UR A1.4 asks for these ratios).",
        f"Bottoms: {'; '.join(told)}. Over several seabeds of one bottom the geometric mean of the ratio "
        f"counts.",
        "No class follows from this: a class society awards it, after tests that it attends, with masses, "
        "sizes "
        "and scopes that its rules prescribe.",
    ]


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
    asked = [str(need["asked"].item())] + [""] * len(groups)
    return [
        (asked[place], found, "every one" if every else ", ".join(designs))
        for place, (found, designs) in enumerate(groups.items())
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
            "the fit. Upright line: twice. Beside: chance of at least twice.",
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

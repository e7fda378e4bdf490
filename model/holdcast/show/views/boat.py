"""A boat's answer as tables, sentences and a picture: chances of holding, lightest anchor, wind left."""

import numpy as np
import xarray as xr

from holdcast.physics.units import MPS_PER_KNOT
from holdcast.plain_numbers import significant
from holdcast.show.figures.sheet import TESTED_KEY, Mark, Panel, Sheet
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.numbers import (
    format_chance,
    format_load,
    format_share,
    load_unit,
    on_screen,
    to_screen_load,
)
from holdcast.show.text.plain_table import plain_table
from holdcast.show.text.sentences import UNTESTED_STAR, provenance_sentence
from holdcast.show.views.sizes import mass_text

__all__ = ["boat_lines", "boat_sentences", "boat_sheet", "lightest_lines"]

_KNOTS = 1.0 / MPS_PER_KNOT
# That the loads hold some surge, and that the larger of the entries by length and by beam counts: read.
_TABLE = "ABYC H-40 by length, some surge but no waves; a wide or high boat takes the entry of a longer one"
_BEYOND = "; beyond the table's 10 to 70 ft and 15 to 60 kn: extrapolated"
_AT_LEAST = "+: no pull of this anchor let go here, so its capacity is at least this much."
_DRAG_ALONE = (
    "wind drag alone, coefficient 0.7 of a yacht lying bow on: no yaw, gusts or surge; ABYC H-40 asks "
    "several times as much"
)
_ALONG_THE_BOTTOM = (
    "A pull along the bottom takes a long or heavy rode. A rode pulled straight leaves about two thirds of "
    "a capacity at scope 5 and about half at scope 3: give --scope."
)


def boat_lines(answer: xr.Dataset, wind: int, units: str) -> list[str]:
    """Return by anchor and seabed: capacity and its band, the chance of holding, wind held and margin.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.boat.boat.boat``.
    wind : int
        Position of the wind among the answer's.
    units : {"si", "us"}
    """
    rows = []
    for seabed in answer["seabed"].to_numpy():
        for anchor in answer["anchor"].to_numpy():
            cell = answer.sel(seabed=seabed, anchor=anchor).isel(wind_mps=wind)
            bands = [format_load(float(load), units) for load in cell["capacity_n"]]
            rows.append(
                (
                    str(seabed),
                    str(anchor) + _mark(cell),
                    *bands,
                    format_chance(float(cell["exceeds"])),
                    f"{float(cell['holds_wind_mps']) * _KNOTS:.0f}",
                    f"{float(cell['margin_mps']) * _KNOTS:+z.0f}",
                )
            )
    header = (
        *("seabed", "anchor", f"capacity 5% {load_unit(units)}", "50%", "95%"),
        *("one pull holds", "wind held, kn", "margin, kn"),
    )
    return plain_table(header, rows, numbers=(2, 3, 4, 5, 6, 7))


def _mark(cell: xr.Dataset) -> str:
    """Return what a cell's name is marked with: nobody pulled there, or no pull let go."""
    return "+" if str(cell["bounded"].item()) == "at least" else "" if bool(cell["tested"]) else "*"


def boat_sentences(answer: xr.Dataset, wind: int, units: str) -> list[str]:
    """Return the loads, and what the chance and the margin mean.

    Parameters
    ----------
    answer, wind, units
        As in :func:`boat_lines`.
    """
    loads = ", ".join(
        f"{float(speed) * _KNOTS:.3g} kn {format_load(float(load), units)} {load_unit(units)}"
        for speed, load in zip(answer["wind_mps"], answer["load_n"], strict=True)
    )
    by_area = "frontal_area_m2" in answer.attrs
    source = _DRAG_ALONE if by_area else _TABLE
    outside = _BEYOND if answer.attrs["extrapolated"] else ""
    knots = f"{float(answer['wind_mps'][wind]) * _KNOTS:.3g} kn"
    pull = _pulled(answer)
    steeper = [] if "scope" in answer.attrs else [_ALONG_THE_BOTTOM]
    if beyond := str(answer.attrs["scope_beyond"]):
        steeper = [f"{beyond[0].upper()}{beyond[1:]}."]
    return [
        *([] if bool(answer["tested"].all()) else [UNTESTED_STAR]),
        *([_AT_LEAST] if bool((answer["bounded"] == "at least").any()) else []),
        f"Load on the boat: {loads} ({source}{outside}).",
        f"One pull holds: the chance that one new pull on a new visit, {pull}, exceeds the load at {knots}.",
        *_along_the_rode(answer, wind, units),
        *steeper,
        f"Wind held: the steady wind whose load one new pull exceeds with a chance of "
        f"{format_share(float(answer.attrs['chance']))}; margin: that wind less {knots}. It is no safe "
        "wind: gusts, waves, other ground and a poor set are not in it.",
    ]


def _along_the_rode(answer: xr.Dataset, wind: int, units: str) -> list[str]:
    """Say how much more the rode is loaded than the boat, where it leads up."""
    load, tension = (float(answer[name][wind]) for name in ("load_n", "tension_n"))
    if tension <= load:
        return []
    return [
        f"The boat's load is horizontal: {format_load(load, units)} {load_unit(units)} of it puts "
        f"{format_load(tension, units)} {load_unit(units)} on the rode, and that the anchor must hold."
    ]


def _pulled(answer: xr.Dataset) -> str:
    """Return how the rode leads, in words."""
    scope = answer.attrs.get("scope")
    return f"at scope {scope:g} on a rode pulled straight" if scope else "along the bottom"


def _of_boat(answer: xr.Dataset, units: str) -> str:
    """Return what the load is that of, in words."""
    if "frontal_area_m2" in answer.attrs:
        return f" on a boat of {significant(float(answer.attrs['frontal_area_m2']), 3)} m² frontal area"
    unit, size = on_screen("m", units)
    return f" on a boat {significant(float(answer.attrs['length_m']) / size, 3)} {unit} long"


def lightest_lines(answer: xr.Dataset, units: str) -> list[str]:
    """Return the lightest anchor of each design, tested and scaled by the fit.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.boat.boat.lightest``.
    units : {"si", "us"}
    """
    unit = on_screen("kg", units)[0]
    rows = []
    for design in answer["design"].to_numpy():
        for seabed in answer["seabed"].to_numpy():
            cell = answer.sel(design=design, seabed=seabed)
            times = float(cell["times_largest"])
            far = f"x{significant(times, 2)} *" if 1.0 < times < np.inf else ""
            tested = str(cell["tested_anchor"].item()) or "none is enough"
            rows.append((str(design), str(seabed), tested, mass_text(float(cell["scaled_kg"]), units), far))
    load, chance = format_load(answer.attrs["load_n"], units), format_share(float(answer.attrs["chance"]))
    return [
        f"Lightest anchor of each design of which one pull holds {load} {load_unit(units)}, chance {chance}:",
        *plain_table(("design", "seabed", "tested anchor", f"scaled, {unit}", ""), rows, numbers=(3,)),
        "x2: twice the largest tested mass, an extrapolation. none: no mass up to 100 times it is enough.",
    ]


def boat_sheet(answer: xr.Dataset, wind: int, units: str, *, reliable: bool = True) -> Sheet:
    """Return the picture: capacity against the boat's load, one panel a seabed, chances beside.

    Parameters
    ----------
    answer, wind, units
        As in :func:`boat_lines`.
    reliable : bool
        The verdict's ``ok``.
    """
    scale, load = to_screen_load(1.0, units), float(answer["tension_n"][wind])
    low = scale * min(float(answer["capacity_n"].min()), load) / 1.15
    high = scale * max(float(answer["capacity_n"].max()), load) * 1.15
    panels = []
    order = np.argsort(answer["form"].to_numpy(), kind="stable")
    for seabed in answer["seabed"].to_numpy():
        cells = answer.sel(seabed=seabed).isel(anchor=order)
        bands = (scale * cells["capacity_n"].transpose("anchor", "quantile")).to_numpy()
        tested = cells["tested"].to_numpy()
        marks = [
            [Mark(float(row[0]), float(row[2]), float(row[1]), filled=bool(pulled))]
            for row, pulled in zip(bands, tested, strict=True)
        ]
        at = cells["exceeds"].isel(wind_mps=wind)
        panels.append(Panel(str(seabed), marks, [format_chance(float(p)) for p in at]))
    knots = float(answer["wind_mps"][wind]) * _KNOTS
    return Sheet(
        title=f"One pull against the load at {knots:.3g} kn",
        reading=(
            f"Capacity in {load_unit(units)}, logarithmic scale. Upright line: the load, "
            f"{format_load(load, units)} {load_unit(units)}{_of_boat(answer, units)}. Numbers on the right: "
            f"chance that one new pull {_pulled(answer)} exceeds it.",
        ),
        key=(*TESTED_KEY, (None, "dot: median; line: 90% band")),
        headings=[str(form) for form in answer["form"].to_numpy()[order]],
        names=[str(name) for name in answer["anchor"].to_numpy()[order]],
        panels=panels,
        limits=(low, high),
        logarithmic=True,
        note_heading="holds",
        foot=(" ".join(CAUTIONS), provenance_sentence(answer.attrs)),
        reference=scale * load,
        reliable=reliable,
    )

"""The command boat: whether one pull holds this boat in this wind."""

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.shared.answering import (
    Everything,
    Picture,
    PictureSizes,
    Results,
    Seabeds,
    ask,
    records,
    say_answer,
    say_reading,
    say_sheet,
    shown_units,
    wrapped,
    write_csv,
)
from holdcast.commands.shared.common import AsJson, InputError, Units, say_json

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["boat"]

LengthM = Annotated[float | None, typer.Option("--length-m", help="Length overall in metres (ABYC H-40).")]
LengthFt = Annotated[float | None, typer.Option("--length-ft", help="The same in feet.")]
Area = Annotated[
    float | None, typer.Option("--frontal-area-m2", help="Frontal area instead: wind drag alone.")
]
Wind = Annotated[float | None, typer.Option("--wind-kn", help="Wind in knots; 30 by default.")]
Force = Annotated[int | None, typer.Option("--beaufort", help="Wind as a Beaufort force, 0 to 12.")]
Chance = Annotated[
    float, typer.Option("--chance", help="Chance of holding that you want; the lightest anchor has it.")
]
Scope = Annotated[
    float | None, typer.Option("--scope", help="Scope; the rode then counts as pulled straight.")
]


def boat(  # noqa: PLR0913  every option of the command line is an argument
    results: Results,
    length_m: LengthM = None,
    length_ft: LengthFt = None,
    frontal_area_m2: Area = None,
    wind_kn: Wind = None,
    beaufort: Force = None,
    chance: Chance = 0.95,
    scope: Scope = None,
    seabed: Seabeds = None,
    everything: Everything = False,
    picture: Picture = False,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Show for a boat in a wind the chance that one pull holds, the lightest anchor and the wind left.

    Example: holdcast boat my-campaign/results --length-m 10.7 --wind-kn 30 --scope 5
    """
    say_reading(results)
    from holdcast.answers.boat.boat import boat as answer_boat
    from holdcast.answers.boat.boat import lightest
    from holdcast.capacity import load
    from holdcast.show.views.boat import boat_sheet

    length = _one_length(length_m, length_ft, frontal_area_m2)
    winds, wind = _winds(wind_kn, beaufort)
    fit, places = load(results), seabed or None
    in_winds = partial(answer_boat, fit, wind_mps=winds, chance=chance, scope=scope, seabeds=places)
    answer = ask(lambda: in_winds(length_m=length, frontal_area_m2=frontal_area_m2))
    load_n = float(answer["load_n"][wind])
    held = ask(lambda: lightest(fit, load_n=load_n, chance=chance, scope=scope, seabeds=places))
    screen = shown_units(fit, units)
    _write(answer, held, results, approximate=fit.verdict.approximate)
    sheet = partial(boat_sheet, answer, wind, screen, reliable=fit.verdict.ok)
    say_sheet(sheet, results, "boat", picture, picture_size)
    if as_json:
        say_json({"ok": fit.verdict.ok, "approximate": fit.verdict.approximate, **_json(answer, held)})
        return
    lines = _all_lines if everything else _short_lines
    say_answer(fit, lines(answer, held, wind, screen))


def _json(answer: "xr.Dataset", held: "xr.Dataset") -> dict[str, object]:
    parts = {
        "cells": answer.drop_vars(["capacity_n", "quantile"]),
        "capacity": answer["capacity_n"],
        "lightest": held,
    }
    return {name: records(part.to_dataframe().reset_index()) for name, part in parts.items()}


def _short_lines(answer: "xr.Dataset", held: "xr.Dataset", wind: int, units: str) -> list[str]:
    from holdcast.show.views.boat import boat_sentences
    from holdcast.show.views.boat_short import boat_short_lines, lightest_sentence

    heading, *table = boat_short_lines(answer, wind, units)
    sentences = boat_sentences(answer, wind, units)
    if answer.sizes["seabed"] > 1:  # the table has no wind held
        sentences = sentences[:-1]
    sentences.append(lightest_sentence(held, units))
    whole = "Every anchor, seabed and wind: boat.csv and boat_lightest.csv, or --all."
    return [*wrapped([heading]), *table, "", *wrapped([*sentences, whole])]


def _write(answer: "xr.Dataset", held: "xr.Dataset", folder: Path, *, approximate: bool) -> None:
    from holdcast.show.views.boat_short import boat_table, lightest_table

    write_csv(boat_table(answer), folder / "boat.csv", approximate=approximate)
    write_csv(lightest_table(held), folder / "boat_lightest.csv", approximate=approximate)


def _all_lines(answer: "xr.Dataset", held: "xr.Dataset", wind: int, units: str) -> list[str]:
    from holdcast.show.views.boat import boat_lines, boat_sentences, lightest_lines

    lines = [*boat_lines(answer, wind, units), "", *wrapped(boat_sentences(answer, wind, units))]
    return [*lines, "", *lightest_lines(held, units)]


def _one_length(length_m: float | None, length_ft: float | None, area: float | None) -> float | None:
    if [length_m, length_ft, area].count(None) != 2:
        raise InputError("give one of --length-m, --length-ft and --frontal-area-m2")
    from holdcast.physics.units import METRES_PER_FOOT

    return length_m if length_ft is None else length_ft * METRES_PER_FOOT


def _winds(wind_kn: float | None, beaufort: int | None) -> tuple[list[float], int]:
    """Return the printed table's winds with the one asked for [m/s], and where that one stands."""
    from holdcast.answers.boat.boat import WINDS_KN
    from holdcast.physics.tackle.wind import beaufort_wind_mps
    from holdcast.physics.units import MPS_PER_KNOT

    if wind_kn is not None and beaufort is not None:
        raise InputError("give the wind once, with --wind-kn or --beaufort")
    knots = 30.0 if wind_kn is None else wind_kn
    wind_mps = knots * MPS_PER_KNOT if beaufort is None else float(beaufort_wind_mps(beaufort))
    if not wind_mps > 0.0:
        raise InputError("the wind must be above 0 kn")
    winds = sorted({wind_mps, *(knots * MPS_PER_KNOT for knots in WINDS_KN)})
    return winds, winds.index(wind_mps)

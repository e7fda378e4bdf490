"""A boat's answer on one screen: the anchors that pass, the mass that would; and the tables of the rest."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.physics.units import MPS_PER_KNOT
from holdcast.plain_numbers import significant
from holdcast.show.text.numbers import format_chance, format_share, on_screen
from holdcast.show.text.plain_table import tables_side_by_side
from holdcast.show.text.text_columns import plain
from holdcast.show.views.boat import boat_lines
from holdcast.show.views.sizes import mass_text

__all__ = ["boat_short_lines", "boat_table", "lightest_sentence", "lightest_table"]

_MOST_ROWS = 12
_NEAREST = 5
_FAR = 5.0


def boat_short_lines(answer: xr.Dataset, wind: int, units: str) -> list[str]:
    """Return the anchors of which one pull holds with the chance asked for, in at least one seabed.

    Where none does, the five that come nearest.  In a single seabed their bands stand beside; else one column
    a seabed holds the chance.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.boat.boat.boat``.
    wind : int
        Position of the wind among the answer's.
    units : {"si", "us"}
    """
    chances = answer["exceeds"].isel(wind_mps=wind)
    passes = (chances >= answer.attrs["chance"]).sum("seabed").to_numpy()
    best = chances.max("seabed").to_numpy()
    places = np.flatnonzero(passes > 0)
    # Those that pass in most seabeds, then the likelier ones; shown in the campaign's order.
    order = np.lexsort((-best, -passes))
    places_shown = np.sort(order[: _MOST_ROWS if len(places) else _NEAREST])
    places_shown = places_shown[passes[places_shown] > 0] if len(places) else places_shown
    part = answer.isel(anchor=places_shown)
    if answer.sizes["seabed"] == 1:
        table = boat_lines(part, wind, units)
    else:
        table = _chances_by_seabed(part, wind, passes[places_shown])
    return [_heading(answer, wind, len(places), len(places_shown)), *table]


def _heading(answer: xr.Dataset, wind: int, passing: int, rows: int) -> str:
    knots = f"{float(answer['wind_mps'][wind]) / MPS_PER_KNOT:.3g} kn"
    total, chance = answer.sizes["anchor"], format_share(float(answer.attrs["chance"]))
    where = "" if answer.sizes["seabed"] == 1 else " in any of these seabeds"
    if not passing:
        return f"No anchor holds at {knots} with a chance of {chance}{where}. The nearest:"
    few = "" if rows == passing else f" (the first {rows})"
    return f"{passing} of {total} anchors hold at {knots} with a chance of {chance}{where}{few}:"


def _chances_by_seabed(part: xr.Dataset, wind: int, passes: np.ndarray) -> list[str]:
    chances = part["exceeds"].isel(wind_mps=wind).transpose("anchor", "seabed")
    tested = part["tested"].transpose("anchor", "seabed")
    rows = [
        (
            str(name),
            *(
                format_chance(float(chance)) + ("" if pulled else "*")
                for chance, pulled in zip(chances[place].to_numpy(), tested[place].to_numpy(), strict=True)
            ),
            f"{passes[place]} of {part.sizes['seabed']}",
        )
        for place, name in enumerate(part["anchor"].to_numpy())
    ]
    return tables_side_by_side(("anchor", *map(str, part["seabed"].to_numpy()), "passes"), rows, first=1)


def lightest_sentence(answer: xr.Dataset, units: str) -> str:
    """Say of each design what mass holds in every seabed shown, as the fit scales it.

    Parameters
    ----------
    answer : Dataset
        As from ``holdcast.answers.boat.boat.lightest``.
    units : {"si", "us"}
    """
    unit = on_screen("kg", units)[0]
    near, far = [], []
    for design in answer["design"].to_numpy():
        here = answer.sel(design=design)
        heaviest = here.isel(seabed=int(here["scaled_kg"].argmax("seabed")))
        mass, times = float(heaviest["scaled_kg"]), float(heaviest["times_largest"])
        if times > _FAR:
            far.append(plain(design))
            continue
        beyond = f" ({significant(times, 2)}x*)" if times > 1.0 else ""
        near.append(f"{plain(design)} {mass_text(mass, units)}{beyond}")
    where = "" if answer.sizes["seabed"] == 1 else " in every one of these seabeds"
    sentences = [f"Lightest mass of each design that holds{where}, in {unit}: {', '.join(near) or 'none'}."]
    if any("*" in text for text in near):
        sentences.append("2x*: twice the largest tested mass of the design, extrapolated.")
    if far:
        sentences.append(f"More than {_FAR:g} times the largest tested mass: {', '.join(far)}.")
    return " ".join(sentences)


def boat_table(answer: xr.Dataset) -> pd.DataFrame:
    """Return one row an anchor, seabed and wind: the columns of boat.csv, in SI units."""
    columns: dict[str, xr.DataArray] = {
        name: answer[name] for name in ("load_n", "exceeds", "holds_wind_mps", "margin_mps")
    }
    for quantile in answer["quantile"].to_numpy():
        name = f"capacity_n_q{round(100 * float(quantile)):02d}"
        columns[name] = answer["capacity_n"].sel(quantile=quantile, drop=True)
    columns["evidence"] = answer["tested"].copy(data=np.where(answer["tested"], "tested", "untested"))
    flat = xr.Dataset(columns).reset_coords(drop=True)
    table = flat.to_dataframe(dim_order=["seabed", "anchor", "wind_mps"]).reset_index()
    return table[["anchor", "seabed", "evidence", *(n for n in table if n not in _FIRST)]]


_FIRST = {"anchor", "seabed", "evidence"}


def lightest_table(answer: xr.Dataset) -> pd.DataFrame:
    """Return one row a design and seabed: the columns of boat_lightest.csv, masses in kg."""
    flat = answer[["tested_anchor", "scaled_kg", "times_largest"]].reset_coords(drop=True)
    return flat.to_dataframe(dim_order=["design", "seabed"]).reset_index()

"""The one range: whether a request leaves what was tested, in what, and how far."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from holdcast.answers.draws.draws import Draws
from holdcast.capacity.inputs.cover import BARE
from holdcast.physics.size import AREA_EXPONENT, REFERENCE_MASS_KG
from holdcast.plain_numbers import significant

__all__ = ["OTHER_ANGLE_DEG", "inside_or_outside", "largest_tested_mass_kg", "outside_of", "tested_masses_kg"]

OTHER_ANGLE_DEG = 5.0
"""Flukes this much apart are set at two angles; less is how well an angle is measured (a choice)."""
_SLACK = 1e-9
"""Room for the rounding of a logarithm."""


def outside_of(draws: Draws, rows: pd.DataFrame) -> pd.Series:
    """Return in what each row leaves what was tested; blank where it does not.

    Parameters
    ----------
    draws : Draws
    rows : DataFrame
        ``mass_kg``, ``design``, ``log_tip_load``, ``log_area_excess``, ``fluke_angle_deg``,
        ``strength_index``, ``soil`` and ``cover``.

    Returns
    -------
    Series of str
        Such as "mass 2.5 times the largest tested": mass, tip load, area, strength, soil and cover over the
        whole log; of a design with tested anchors, its own masses and fluke angles too.
    """
    inputs, used = draws.inputs, draws.used_pulls
    anchors = inputs.sel(anchor=sorted(set(used["anchor"])))
    seabeds = inputs.sel(seabed=sorted(set(used["seabed"])))
    log_mass = np.log(rows["mass_kg"] / REFERENCE_MASS_KG)
    measures = {
        "mass": (log_mass, anchors["log_mass_ratio"]),
        "tip load": (rows["log_tip_load"], anchors["log_tip_load"]),
        "fluke area": (
            rows["log_area_excess"] + AREA_EXPONENT * log_mass,
            anchors["log_area_excess"] + AREA_EXPONENT * anchors["log_mass_ratio"],
        ),
        "strength": (rows["strength_index"], seabeds["strength_index"]),
    }
    columns = []
    for what, (values, tested) in measures.items():
        low, high = float(tested.min()), float(tested.max())
        columns.append([_beyond(what, value, low, high) for value in values.tolist()])
    columns.append(_angles_beyond(draws, rows))
    own_log_mass = {
        design: np.log(tested_masses_kg(draws, "design", str(design))).tolist()
        for design in set(rows["design"])
    }
    columns.append(_never_tested(draws, rows))
    words: list[str] = []
    for (design, mass), *reasons in zip(
        rows[["design", "mass_kg"]].itertuples(index=False), *columns, strict=True
    ):
        if not reasons[0] and (beyond := _beyond("mass", float(np.log(mass)), *own_log_mass[design])):
            reasons[0] = f"{beyond} of its design"
        words.append("; ".join(filter(None, reasons)))
    return pd.Series(words, index=rows.index, dtype=object)


def _never_tested(draws: Draws, rows: pd.DataFrame) -> list[str]:
    """Return which soil and which cover were never pulled in; blank where both were."""
    tested = _covers(draws.seabeds.reindex(sorted(set(draws.used_pulls["seabed"]))))
    soils, covers = set(tested["soil"]), {*tested["cover"], BARE}
    return [
        "; ".join(
            filter(
                None,
                [
                    "" if soil in soils else f"{soil} never tested",
                    "" if cover in covers else f"ground under {cover} never tested",
                ],
            )
        )
        for soil, cover in _covers(rows)[["soil", "cover"]].itertuples(index=False)
    ]


def _covers(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table with its covers, bare where none is given."""
    cover = table["cover"].replace("", BARE).fillna(BARE) if "cover" in table else BARE
    return table.assign(cover=cover)


def _angles_beyond(draws: Draws, rows: pd.DataFrame) -> list[str]:
    """Return how far each fluke angle lies beyond the tested ones of its design; blank inside."""
    tested = draws.tested_anchors.reindex(columns=["design", "fluke_angle_deg"]).astype(
        {"fluke_angle_deg": float}
    )
    angles = tested.groupby("design")["fluke_angle_deg"].agg(["min", "max"])
    low, high = (rows["design"].map(angles[name]).to_numpy(dtype=float) for name in ("min", "max"))
    own = rows.reindex(columns=["fluke_angle_deg"]).to_numpy(dtype=float).ravel()
    steeper, flatter = own - high, low - own
    return [
        f"fluke {more:.0f}° {word} than any tested of its design" if more >= OTHER_ANGLE_DEG else ""
        for more, word in zip(
            np.fmax(steeper, flatter), np.where(steeper > flatter, "steeper", "flatter"), strict=True
        )
    ]


def _beyond(what: str, value: float, low: float, high: float) -> str:
    """Return how far a logarithm lies beyond the tested ones, blank inside."""
    if value > high + _SLACK:
        return f"{what} {significant(float(np.exp(value - high)))} times the largest tested"
    if value < low - _SLACK:
        return f"{what} {significant(float(np.exp(value - low)))} times the smallest tested"
    return ""


def inside_or_outside(outside: pd.Series) -> NDArray[np.str_]:
    """Return the words of the column ``range`` for what :func:`outside_of` returned."""
    return np.where(outside == "", "inside", "outside").astype(str)


def tested_masses_kg(draws: Draws, column: str, label: str) -> tuple[float, float]:
    """Return the smallest and the largest mass of the tested anchors of a design or form [kg].

    NaN when none was tested: no mass lies outside of that.
    """
    mass = draws.tested_anchors.loc[draws.tested_anchors[column] == label, "mass_kg"]
    return float(mass.min()), float(mass.max())


def largest_tested_mass_kg(draws: Draws) -> float:
    """Return the mass of the heaviest anchor with a used pull [kg]."""
    return draws.largest_tested_kg

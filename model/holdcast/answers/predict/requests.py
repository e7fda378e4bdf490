"""From rows that ask for an anchor in a seabed to complete descriptions: known or new, what was assumed."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.draws.anchors import measurements
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import Draws
from holdcast.answers.draws.tested_range import OTHER_ANGLE_DEG
from holdcast.capacity.inputs.cover import BARE
from holdcast.capacity.inputs.labels import positions
from holdcast.physics.ground.strength_index import strength_index

__all__ = ["complete_requests"]

_SAME_SIZE = 0.05
"""Masses within this share of each other are one size (a choice)."""
_TEXT = (
    *("anchor", "design", "form"),
    *("seabed", "soil", "strength", "strength_scheme", "strength_basis", "cover"),
    "rode",
)
_NUMBERS = (
    "mass_kg",
    "tip_load_kg",
    "tip_fraction",
    "fluke_area_m2",
    "fluke_angle_deg",
    "undrained_strength_kpa",
    "friction_angle_deg",
    "scope",
    "depth_m",
    "bow_height_m",
    "chain_kg_per_m",
    "chain_length_m",
)


def complete_requests(draws: Draws, requests: pd.DataFrame) -> pd.DataFrame:
    """Return the requests with every blank filled by what is known or by a stated assumption.

    Parameters
    ----------
    draws : Draws
        What the fit knows.
    requests : DataFrame, index request
        Columns as in anchors.csv and seabeds.csv (SI units, as ``Campaign`` holds them); those that are not
        needed may be missing.

    Returns
    -------
    DataFrame, index request
        Every column that an answer needs; ``known_anchor``, ``known_seabed`` (bool); ``log_tip_load``,
        ``log_area_excess`` and their spreads; ``fluke_angle_steps``; ``strength_index`` and its spread;
        ``basis``; ``assumed``.

    Raises
    ------
    KeyError
        For an anchor that is neither known nor has a mass, or a seabed that is neither known nor has a soil.
    """
    rows = _with_all_columns(draws, requests)
    _refuse_unknown(draws, rows)
    for column in ("anchor", "seabed"):
        blank = rows[column] == ""
        rows.loc[blank, column] = [f"{column} of request {label}" for label in rows.index[blank]]
    rows = _complete_anchors(draws, rows)
    rows = _complete_seabeds(draws, rows)
    evidence = counts(draws)["evidence"]
    rows["basis"] = [_basis(draws, evidence, rows.loc[label]) for label in rows.index]
    return rows


def _with_all_columns(draws: Draws, requests: pd.DataFrame) -> pd.DataFrame:
    if not requests.index.is_unique:
        raise ValueError("each request needs a name of its own")
    rows = pd.DataFrame(index=requests.index.astype(str))
    for column in _TEXT:
        texts = requests[column].fillna("").astype(str) if column in requests else ""
        rows[column] = np.asarray(texts, dtype=object) if len(rows) else []
    for column in _NUMBERS:
        rows[column] = requests[column].to_numpy(dtype=float) if column in requests else np.nan
    rows["tip_load_kg"] = rows["tip_load_kg"].fillna(rows["tip_fraction"] * rows["mass_kg"])
    for flag in [str(column) for column in requests if str(column).startswith("flag_")]:
        rows[flag] = requests[flag].astype("boolean").array
    rows["known_anchor"] = rows["anchor"].isin(draws.labels("anchor"))
    rows["known_seabed"] = rows["seabed"].isin(draws.labels("seabed"))
    rows["assumed"] = ""
    return rows


def _refuse_unknown(draws: Draws, rows: pd.DataFrame) -> None:
    no_mass = ~rows["known_anchor"] & rows["mass_kg"].isna()
    no_soil = ~rows["known_seabed"] & (rows["soil"] == "")
    # Raises with the nearest known name; a blank name is not known either.
    positions(list(rows["anchor"][no_mass]), draws.labels("anchor"), "anchor without a mass")
    positions(list(rows["seabed"][no_soil]), draws.labels("seabed"), "seabed without a soil")


def _complete_anchors(draws: Draws, rows: pd.DataFrame) -> pd.DataFrame:
    rows = rows.copy()
    tested, new = rows["known_anchor"], ~rows["known_anchor"]
    own_flags = [str(column) for column in draws.anchors if str(column).startswith("flag_")]
    for column in ("design", "form", "mass_kg", "tip_load_kg", "fluke_area_m2", "fluke_angle_deg"):
        rows.loc[tested, column] = draws.anchors[column].reindex(rows["anchor"][tested]).to_numpy()
    blank = new & (rows["design"] == "")
    rows.loc[blank, "design"] = rows["anchor"][blank]
    asked_flags = [str(column) for column in rows if str(column).startswith("flag_")]
    for flag in dict.fromkeys((*asked_flags, *own_flags)):
        table = draws.anchors[flag] if flag in own_flags else pd.Series(False, index=draws.anchors.index)
        mine = table.reindex(rows["anchor"]).fillna(False).to_numpy(dtype=bool)
        written = rows[flag] if flag in asked_flags else pd.Series(pd.NA, index=rows.index, dtype="boolean")
        by_design, mixed = _of_design(table, draws, rows)
        blank = new & written.isna()
        words = flag.removeprefix("flag_").replace("_", " ")
        _assume(rows, blank & by_design, f"{words}: as all tested anchors of its design")
        _assume(rows, blank & mixed, f"counted without {words}, which some of its design have")
        rows[flag] = np.where(tested, mine, written.fillna(by_design).to_numpy(dtype=bool))
    rows = _complete_forms(draws, rows)
    return rows.join(_measured(draws, rows))


def _of_design(flags: pd.Series, draws: Draws, rows: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Return for each request whether all tested anchors of its design have a feature, and whether some."""
    by_design = flags.astype(bool).groupby(draws.anchors["design"])
    every, some = (
        each.reindex(rows["design"]).eq(True).set_axis(rows.index)
        for each in (by_design.all(), by_design.any())
    )
    return every, some & ~every


def _complete_forms(draws: Draws, rows: pd.DataFrame) -> pd.DataFrame:
    form_of = draws.anchors.groupby("design")["form"].first()
    designs = form_of.reindex(rows["design"]).fillna("other").to_numpy()
    _assume(rows, (rows["form"] == "") & (designs == "other"), "form not given: counted as other")
    rows["form"] = np.where(rows["form"] == "", designs, rows["form"])
    return rows


def _measured(draws: Draws, rows: pd.DataFrame) -> pd.DataFrame:
    """Return tip load and area on the model's scales, and say which are not measured."""
    measures = measurements(draws, rows)
    for name, (column, words) in {
        "log_tip_load": ("tip_load_kg", "tip load"),
        "log_area_excess": ("fluke_area_m2", "fluke area"),
    }.items():
        guessed = (measures[f"{name}_spread"] > 0.0) & ~rows["known_anchor"]
        like = rows["design"].isin(draws.anchors["design"][draws.anchors[column].notna()])
        for kind, here in (("design", like), ("form", ~like)):
            _assume(rows, guessed & here, f"{words} not given: drawn from anchors of its {kind}")
    _say_of_angles(draws, rows)
    # What the fit has learnt of a known anchor's unmeasured tip or area replaces the guess.
    return measures


def _say_of_angles(draws: Draws, rows: pd.DataFrame) -> None:
    """Say where a new anchor's fluke angle is taken for the mean of its design, or compares with none."""
    angles = draws.anchors.groupby("design")["fluke_angle_deg"].agg(["min", "max"])
    some, several = (
        rows["design"].isin(angles.index[each])
        for each in (angles["min"].notna(), angles["max"] - angles["min"] >= OTHER_ANGLE_DEG)
    )
    new, blank = ~rows["known_anchor"], rows["fluke_angle_deg"].isna()
    _assume(rows, new & blank & several, "fluke angle not given: the mean of its design")
    _assume(rows, new & ~blank & ~some, "fluke angle not used: none of its design to compare with")


def _assume(rows: pd.DataFrame, where: pd.Series, text: str) -> None:
    before = rows.loc[where, "assumed"]
    rows.loc[where, "assumed"] = [f"{old}; {text}" if old else text for old in before]


def _complete_seabeds(draws: Draws, rows: pd.DataFrame) -> pd.DataFrame:
    rows = rows.copy()
    index = draws.inputs["strength_index"].to_series()
    spread = draws.inputs["strength_index_spread"].to_series()
    pairs: list[tuple[float, float]] = []
    for row in rows.itertuples():
        if row.known_seabed:
            pairs.append((float(index[str(row.seabed)]), float(spread[str(row.seabed)])))
            continue
        pairs.append(
            strength_index(
                str(row.soil),
                str(row.strength),
                str(row.strength_scheme) or "iso_14688_2",
                strength_basis=str(row.strength_basis),
                undrained_strength_kpa=float(str(row.undrained_strength_kpa)),
                friction_angle_deg=float(str(row.friction_angle_deg)),
            )
        )
    rows[["strength_index", "strength_index_spread"]] = np.array(pairs, dtype=float).reshape(-1, 2)
    tested = rows["known_seabed"]
    rows.loc[tested, "soil"] = draws.seabeds["soil"].reindex(rows["seabed"][tested]).to_numpy()
    unclassed = ~tested & (rows["strength"] == "") & (rows["soil"] != "rock")
    measured = rows["undrained_strength_kpa"].notna() | rows["friction_angle_deg"].notna()
    _assume(rows, unclassed & ~measured, "strength not given: anything that soil can be")
    _complete_covers(draws, rows)
    return rows


def _complete_covers(draws: Draws, rows: pd.DataFrame) -> None:
    """Fill in what lies on top: of a tested seabed what its file says, of a new one bare ground."""
    tested = rows["known_seabed"]
    known = draws.seabeds.reindex(columns=["cover"]).fillna("")["cover"].reindex(rows["seabed"][tested])
    rows.loc[tested, "cover"] = known.to_numpy()
    rows["cover"] = [str(cover).casefold() for cover in rows["cover"]]
    blank = rows["cover"] == ""
    # Where no seabed of the log has a cover there is nothing to be unlike.
    _assume(rows, blank & ~tested & bool(draws.inputs.sizes["cover"]), "cover not given: bare ground")
    rows.loc[blank, "cover"] = BARE


def _basis(draws: Draws, evidence: xr.DataArray, row: pd.Series) -> str:
    """Return on what one answer rests: tested or untested cell, or what is new of it."""
    if not row["known_seabed"]:
        return "new seabed" if row["known_anchor"] else "new anchor and seabed"
    if row["known_anchor"]:
        return f"{evidence.sel(anchor=row['anchor'], seabed=row['seabed']).item()} cell"
    family = draws.anchors[draws.anchors["design"] == row["design"]]
    if family.empty:
        return "new anchor"
    return "new configuration" if _differs(family, row) else "new size"


def _differs(family: pd.DataFrame, row: pd.Series) -> bool:
    """Return whether a new anchor of a design is more than another size of a tested configuration."""
    flags: Sequence[str] = [str(name) for name in row.index if str(name).startswith("flag_")]
    family_flags = family.reindex(columns=list(flags), fill_value=False).astype(bool)
    same = (family_flags == row[list(flags)].astype(bool)).all(axis=1)
    if not np.isnan(row["fluke_angle_deg"]):
        same &= ~((family["fluke_angle_deg"] - row["fluke_angle_deg"]).abs() >= OTHER_ANGLE_DEG)
    if not same.any():
        return True
    nearest = np.abs(np.log(family["mass_kg"][same] / row["mass_kg"])).min()
    return bool(nearest <= _SAME_SIZE)

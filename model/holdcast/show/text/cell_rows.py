"""From labelled cells to rows in the order in which they are shown: seabed, form, name, never capacity."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.text.name_order import name_order

__all__ = ["SHOWN_QUANTILES", "cell_rows", "name_order", "seabed_label", "seldom_sets", "words"]

SHOWN_QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
"""5% to 95% is the 90% band, 25% to 75% the 50% band, both equal-tailed; 50% is the median."""

_WITH_BANDS = ("capacity_n", "efficiency", "new_pull_n")
_PLAIN = ("evidence", "pulls", "visits", "own_data", "own_data_rough", "range", "above_threshold", "bounded")
_SETS = (0.05, 0.5, 0.95)
_SELDOM = 0.8
"""A chance of setting below this one carries a mark: fewer than four of five pulls (a choice)."""
_COORDINATES = ("design", "form", "soil", "strength")
_WORDS = {
    "evidence": {"tested", "untested"},
    "range": {"inside", "outside"},
    "bounded": {"both", "at least", "at most", ""},
}


def words(label: str) -> str:
    """Return a label of the input files as words: ``twin_fluke`` reads "twin fluke"."""
    return label.replace("_", " ")


def seabed_label(soil: str, strength: str) -> str:
    """Return what a seabed is made of, such as "silt, very low strength" or "sand, medium dense"."""
    if not strength:
        return f"{words(soil)}, strength not given"
    strength = words(strength)
    return f"{words(soil)}, {strength}" + ("" if "loose" in strength or "dense" in strength else " strength")


def seldom_sets(rows: pd.DataFrame) -> "pd.Series[bool]":
    """Tell for each row of `cell_rows` whether fewer than four of five pulls set, as the median has it."""
    return (rows["sets_q50"] < _SELDOM) & ~rows["never_set"]


def cell_rows(cells: xr.Dataset) -> pd.DataFrame:
    """Flatten the cells into one row per anchor and seabed, in the order in which they are shown.

    Seabeds keep the order of the campaign. Within a seabed rows go by form, then by name, so that the order
    says nothing about capacity.

    Parameters
    ----------
    cells : xarray.Dataset
        Dims ``anchor``, ``seabed``, ``quantile`` as from ``holdcast.answers.cells.cells``; loads in N.

    Returns
    -------
    pandas.DataFrame
        Columns ``seabed, soil, strength, form, anchor, design, evidence, pulls, visits, own_data, range,
        above_threshold, bounded``; ``sets_q05, sets_q50, sets_q95`` (chance that the anchor digs in; NaN
        where the cells do not tell) and ``never_set`` (bool); and, for each of ``capacity_n``,
        ``efficiency`` and ``new_pull_n``, ``_q05`` to ``_q95``.

    Raises
    ------
    ValueError
        When a variable or a quantile is missing, or a band is not finite, not positive or out of order: no
        capacity is shown without its band.
    """
    _check(cells)
    cells = cells.reset_coords([name for name in _COORDINATES if name in cells.coords])
    columns: dict[str, xr.DataArray] = {name: cells[name] for name in (*_COORDINATES, *_PLAIN)}
    for name in _WITH_BANDS:
        for quantile in SHOWN_QUANTILES:
            values = cells[name].sel(quantile=quantile, method="nearest", tolerance=1e-9, drop=True)
            columns[f"{name}_q{round(100 * quantile):02d}"] = values
    columns |= _setting_columns(cells)
    table = xr.Dataset(columns).to_dataframe(dim_order=["seabed", "anchor"]).reset_index()
    place = {seabed: position for position, seabed in enumerate(cells["seabed"].to_numpy().tolist())}
    keys = [
        (place[seabed], form, name_order(str(anchor)))
        for seabed, form, anchor in zip(table["seabed"], table["form"], table["anchor"], strict=True)
    ]
    order = sorted(range(len(table)), key=keys.__getitem__)
    return table.iloc[order].reset_index(drop=True)


def _setting_columns(cells: xr.Dataset) -> dict[str, xr.DataArray]:
    """Return the chance that an anchor sets, with its band, and whether no pull of the cell ever did."""
    unknown = xr.full_like(cells["own_data"], np.nan, dtype=float)
    columns = {}
    for quantile in _SETS:
        values = unknown
        if "sets" in cells:
            values = cells["sets"].sel(quantile=quantile, method="nearest", tolerance=1e-9, drop=True)
        columns[f"sets_q{round(100 * quantile):02d}"] = values
    never = cells["never_set"] if "never_set" in cells else xr.zeros_like(unknown)
    return {**columns, "never_set": never.astype(bool)}


def _check(cells: xr.Dataset) -> None:
    missing = [name for name in (*_COORDINATES, *_WITH_BANDS, *_PLAIN) if name not in cells.variables]
    if missing:
        raise ValueError(f"the cells lack {', '.join(missing)}")
    quantiles = np.asarray(cells["quantile"].to_numpy(), dtype=float)
    absent = [quantile for quantile in SHOWN_QUANTILES if not np.isclose(quantiles, quantile).any()]
    if absent:
        raise ValueError(f"no capacity is shown without its band: quantiles {absent} are missing")
    for name in _WITH_BANDS:
        _check_band(cells[name].sortby("quantile").transpose("quantile", "anchor", "seabed"))
    for name, allowed in _WORDS.items():
        strange = sorted(set(cells[name].to_numpy().ravel().tolist()) - allowed)
        if strange:
            raise ValueError(f"{name} must be one of {sorted(allowed)}, got {strange}")


def _check_band(values: xr.DataArray) -> None:
    bands = np.asarray(values.to_numpy(), dtype=float)  # quantile, anchor, seabed
    proper = np.isfinite(bands) & (bands > 0)
    wrong = ~proper.all(axis=0) | (np.diff(bands, axis=0) < 0).any(axis=0)
    if wrong.any():
        anchor, seabed = np.argwhere(wrong)[0]
        where = f"{values['anchor'].to_numpy()[anchor]} in {values['seabed'].to_numpy()[seabed]}"
        raise ValueError(f"{values.name} of {where} has no proper band: quantiles must be positive and rise")

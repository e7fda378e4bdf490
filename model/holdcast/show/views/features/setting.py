"""What a feature does to the chances of setting: columns of the table of effects, and small tables."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.text.cell_rows import words
from holdcast.show.text.numbers import format_chance
from holdcast.show.text.plain_table import TableRow, each_row, learnt_text, plain_table

__all__ = ["KIND_WORDS", "band_of_points", "setting_lines", "with_setting"]

KIND_WORDS = {"sets": "sets", "resets": "sets again after 180°", "veer_kept": "kept in a 180° turn"}
"""What the chances of setting are called beside capacity."""
_ENDINGS = {"change_q05": 0.05, "change_q50": 0.5, "change_q95": 0.95}
_PLAIN = ("p_gain", "pairs_tested", "contraction")


def with_setting(rows: pd.DataFrame, effects: xr.Dataset, pairs: xr.Dataset) -> pd.DataFrame:
    """Return the rows of all effects with what each does to the chances of setting.

    Parameters
    ----------
    rows : DataFrame
        From ``effect_rows`` and ``pair_rows``, below each other.
    effects, pairs : Dataset
        From ``setting_effects`` and ``paired_setting``.

    Returns
    -------
    DataFrame
        With columns ``KIND_change_q05, _q50, _q95``, ``KIND_p_gain``, ``KIND_pairs_tested`` and
        ``KIND_contraction`` for each KIND of `KIND_WORDS`; NaN where the log holds no such test, and in rows
        of measurements.
    """
    numbers = {"net": _cells(effects, "effect"), "total": _cells(pairs, "pair")}
    keys = [
        (row.kind, str(row.effect).partition(": ")[2] if row.kind == "total" else row.effect, row.seabed)
        for row in each_row(rows)
    ]
    added = {
        f"{kind}_{name}": [numbers.get(group, {}).get((kind, label, seabed), {}).get(name, np.nan)
                           for group, label, seabed in keys]
        for kind in KIND_WORDS
        for name in (*_ENDINGS, *_PLAIN)
    }  # fmt: skip
    return rows.assign(**added)


def _cells(answer: xr.Dataset, dim: str) -> dict[tuple[str, str, str], dict[str, float]]:
    """Return the numbers of each kind, member and seabed by the endings of their columns."""
    if not answer.sizes[dim]:
        return {}
    columns = {name: answer["change"].sel(quantile=q, drop=True) for name, q in _ENDINGS.items()}
    columns |= {name: answer[name] for name in _PLAIN if name in answer}
    if "both_tested" in answer:
        columns["pairs_tested"] = answer["both_tested"].astype(int)
    table = xr.Dataset(columns).to_dataframe(dim_order=["kind", dim, "seabed"]).reset_index()
    return {
        (str(row["kind"]), str(row[dim]), str(row["seabed"])): {name: row[name] for name in columns}
        for row in table.to_dict("records")
    }


def setting_lines(rows: pd.DataFrame, *, width: int | None = None) -> list[str]:
    """Return one small table for each feature or pair and each kind of test that the log holds.

    Parameters
    ----------
    rows : DataFrame
        From :func:`with_setting`.
    """
    lines: list[str] = []
    for (group, effect), part in rows.groupby(["kind", "effect"], sort=False):
        for kind in KIND_WORDS:
            here = part.dropna(subset=[f"{kind}_change_q50"])
            if here.empty:
                continue
            learnt = ["learnt"] if group == "net" else []
            header = ["seabed", "change, points", "90% band", "gain", "pairs", *learnt]
            body = [_cells_of_line(row, kind, learnt=bool(learnt)) for row in each_row(here)]
            lines += ["", f"{words(str(effect))}, {group}: {KIND_WORDS[kind]}"]
            lines += plain_table(header, body, numbers=(1,), width=width)
    return lines


def _cells_of_line(row: TableRow, kind: str, *, learnt: bool) -> list[str]:
    low, middle, high = (100.0 * getattr(row, f"{kind}_{name}") for name in _ENDINGS)
    pairs, gain = getattr(row, f"{kind}_pairs_tested"), getattr(row, f"{kind}_p_gain")
    cells = [
        str(row.seabed),
        f"{middle:+z.0f}",
        f"{low:+z.0f} to {high:+z.0f}",
        format_chance(gain),
        f"{pairs:.0f}" if pairs else "none",
    ]
    return [*cells, learnt_text(getattr(row, f"{kind}_contraction"))] if learnt else cells


def band_of_points(low: float, middle: float, high: float) -> str:
    """Return a change of a chance with its band, in points of a hundred."""
    return f"{100 * middle:+z.0f} ({100 * low:+z.0f} to {100 * high:+z.0f})"

"""What the model misses of a log's own pulls: tables for the screen, rows for the files."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.show.text.numbers import format_share
from holdcast.show.text.plain_table import TextTable, each_row, plain_table
from holdcast.show.views.criticise.sentences import Criticism, change_text
from holdcast.show.views.criticise.setting import (
    SCATTER_NOTES,
    chance_rows,
    reset_veer_rows,
    setting_tables,
)

__all__ = ["criticism_lines", "criticism_rows", "criticism_tables", "residual_rows"]

_KNOWN = ("exactly", "below its upper end", "above its lower end", "between its ends", "not read")
"""How a load is known, in the order of the codes of ``kind``."""
_COLUMNS = (
    *("check", "about", "prediction", "pulls", "clusters", "value", "value_low", "value_high", "expected"),
    *("factor", "factor_low", "factor_high", "p_value", "p_adjusted", "shown", "error", "weight", "high_k"),
    "note",
)


def criticism_tables(answer: Criticism, models: pd.DataFrame) -> list[TextTable]:
    """Return the tables for the page: trends, seabeds, and models where they were compared.

    Parameters
    ----------
    answer : Criticism
        What was found of a fit.
    models : DataFrame
        Rows of ``criticism.csv`` about models, as :func:`criticism_rows` makes them; perhaps none.
    """
    tables = [
        TextTable("Trends", _TREND_HEADER, _trend_cells(answer.trends)),
        TextTable("Scatter by seabed", _SEABED_HEADER, _seabed_cells(answer.scatter)),
        *setting_tables(answer.setting),
    ]
    rows = [
        [
            str(row.about),
            f"{row.value:z.1f}".replace("-", "−"),
            f"{row.error:.1f}",
            f"{row.weight:.2f}",
            f"{row.high_k:.0f}",
            str(row.note).rpartition("; ")[2],
        ]
        for row in each_row(models)
    ]
    title = (
        "Simpler models: how well each predicts pulls left out (elpd). A difference below 4, or below two "
        "errors, is none to rely on"
    )
    return [*tables, TextTable(title, _COMPARED_HEADER, rows)] if rows else tables


def criticism_lines(answer: Criticism) -> list[str]:
    """Return the tables for the screen: trends, seabeds, chances, and models when they were compared."""
    lines = plain_table(_TREND_HEADER, _trend_cells(answer.trends))
    lines += ["", *plain_table(_SEABED_HEADER, _seabed_cells(answer.scatter), numbers=(1,))]
    for table in setting_tables(answer.setting):
        lines += ["", *plain_table(table.header, table.rows)]
    if answer.comparison is not None:
        lines += ["", *plain_table(_MODEL_HEADER, _model_cells(answer.comparison), numbers=(1, 2, 3, 4, 5))]
    return lines


def residual_rows(answer: Criticism) -> pd.DataFrame:
    """Return one row a test for ``residuals.csv``, pulls first; loads in N, residuals without unit."""
    rows = [_pull_residuals(answer.residuals)]
    if answer.setting is not None:
        rows += [_other_residuals(getattr(answer.setting, f"{test}s"), test) for test in ("reset", "veer")]
    return pd.concat([table for table in rows if len(table)], ignore_index=True)


def _other_residuals(residuals: xr.Dataset, test: str) -> pd.DataFrame:
    """Return the residuals of resets or veers under the names of those of pulls."""
    columns: dict[str, object] = {"trial": residuals[test].to_numpy(), "test": test}
    columns |= {name: residuals[name].to_numpy() for name in ("anchor", "design", "seabed", "visit")}
    if test == "reset":
        columns |= {name: residuals[name].to_numpy() for name in ("attempts", "successes")}
        columns["chance"] = residuals["chance"].to_numpy()
    else:
        columns["expected_n"] = np.exp(residuals["expected"].to_numpy())
    for name in ("pit_low", "pit_high", "residual", "mean_residual", "pareto_k"):
        columns[name] = residuals[name].to_numpy()
    columns["left_out"] = ["yes" if value else "no" for value in residuals["left_out"].to_numpy()]
    return pd.DataFrame(columns)


def _pull_residuals(residuals: xr.Dataset) -> pd.DataFrame:
    left_out, visit, design = (residuals.isel(prediction=place) for place in range(3))
    columns: dict[str, object] = {"trial": residuals["trial"].to_numpy(), "test": "pull"}
    columns |= {name: residuals[name].to_numpy() for name in ("anchor", "design", "seabed", "visit")}
    columns["load_known"] = [_KNOWN[kind] for kind in residuals["kind"].to_numpy()]
    columns["expected_n"] = np.exp(left_out["expected"].to_numpy())
    columns["chance"] = left_out["sets"].to_numpy()
    for name in ("pit_low", "pit_high", "residual", "mean_residual"):
        columns[name] = left_out[name].to_numpy()
    for ending, part in (("new_visit", visit), ("new_design", design)):
        columns[f"mean_residual_{ending}"] = part["mean_residual"].to_numpy()
    columns["pareto_k"] = residuals["pareto_k"].to_numpy()
    columns["left_out"] = ["yes" if value else "no" for value in residuals["left_out"].to_numpy()]
    return pd.DataFrame(columns)


def criticism_rows(answer: Criticism) -> pd.DataFrame:
    """Return one row a look for ``criticism.csv``."""
    rows = [*_trend_rows(answer.trends), *_scatter_rows(answer.scatter)]
    if answer.setting is not None:
        rows += [*chance_rows(answer.setting.chances), *reset_veer_rows(answer.setting.scatter)]
    if answer.comparison is not None:
        rows += _model_rows(answer.comparison)
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def _trend_rows(trends: xr.Dataset) -> list[dict[str, object]]:
    rows = []
    for name in trends["covariate"].values:
        for shape in trends["shape"].values:
            here = trends.sel(covariate=name, shape=shape)
            rows.append(
                {
                    "check": str(shape),
                    "about": str(name),
                    **{each: here[each].item() for each in ("prediction", "pulls", "clusters")},
                    **{f"value{end}": float(here[f"correlation{end}"]) for end in ("", "_low", "_high")},
                    **{f"factor{end}": float(here[f"factor{end}"]) for end in ("", "_low", "_high")},
                    **_judgement(here),
                    "note": str(here["skipped"].item()) or "value: correlation of ranks",
                }
            )
    return rows


def _scatter_rows(scatter: xr.Dataset) -> list[dict[str, object]]:
    rows = []
    for name in scatter["seabed"].values:
        for look, (variable, note) in SCATTER_NOTES.items():
            here = scatter.sel(seabed=name, look=look)
            judged = bool(np.isfinite(float(here["ratio"])))
            rows.append(
                {
                    "check": look,
                    "about": str(name),
                    "prediction": "left out",
                    "pulls": int(here["pulls"]),
                    **{f"value{end}": float(here[f"{variable}{end}"]) for end in ("", "_low", "_high")},
                    **_judgement(here),
                    "note": note if judged else "too few pulls",
                }
            )
    return rows


def _judgement(here: xr.Dataset) -> dict[str, object]:
    looked = bool(np.isfinite(float(here["p_value"])))
    return {
        "p_value": float(here["p_value"]),
        "p_adjusted": float(here["p_holm"]),
        "shown": ("yes" if bool(here["shown"]) else "no") if looked else "",
    }


def _model_rows(comparison: xr.Dataset) -> list[dict[str, object]]:
    return [
        {
            "check": "model",
            "about": str(name),
            "pulls": int(comparison.attrs["pulls"]),
            "value": float(here["difference"]),
            "error": float(here["difference_error"]),
            "weight": float(here["weight"]),
            "high_k": int(here["high_k"]),
            "note": f"value: elpd less that of the first; {here['finding'].item()}",
        }
        for name in comparison["model"].values
        for here in (comparison.sel(model=name),)
    ]


def _trend_cells(trends: xr.Dataset) -> list[list[str]]:
    rows = []
    for name in trends["covariate"].values:
        here = trends.sel(covariate=name)
        if here["skipped"].item():
            rows.append([str(name), "", str(here["skipped"].item()), "", str(int(here["pulls"]))])
            continue
        changes = [_change(here.sel(shape=shape)) for shape in here["shape"].values]
        rows.append([str(name), str(here["prediction"].item()), *changes, str(int(here["pulls"]))])
    return rows


def _change(here: xr.Dataset) -> str:
    numbers = (float(here[f"factor{end}"]) for end in ("", "_low", "_high"))
    return change_text(*numbers, stands_out=bool(here["shown"]))


_TREND_HEADER = ["against", "residuals", "slope", "bow", "pulls"]
_COMPARED_HEADER = ["model", "elpd, difference", "error", "weight", "Pareto k > 0.7", "finding"]
_SEABED_HEADER = ["seabed", "pulls", "pull scatter (log)", "residuals' spread (1)", "beyond 90% band (usual)"]
_MODEL_HEADER = ["model", "elpd", "difference", "error", "weight", "Pareto k > 0.7"]


def _seabed_cells(scatter: xr.Dataset) -> list[list[str]]:
    rows = []
    for name in scatter["seabed"].values:
        here = scatter.sel(seabed=name)
        low, middle, high = here["pull_scatter"].to_numpy()
        row = [str(name), str(int(here["pulls"])), f"{middle:.2f} ({low:.2f} to {high:.2f})"]
        if np.isfinite(float(here["ratio"])):
            stars = ["*" if bool(here["shown"].sel(look=look)) else "" for look in ("spread", "tails")]
            ends = [format_share(float(here[f"outside_{end}"])) for end in ("low", "high")]
            ratio, *band = (float(here[f"ratio{end}"]) for end in ("", "_low", "_high"))
            spread = f"{ratio:.2f} ({band[0]:.2f} to {band[1]:.2f})"
            outside = f"{format_share(float(here['outside']))} ({' to '.join(ends)})"
            row += [spread + stars[0], outside + stars[1]]
        else:
            row += ["too few pulls", ""]
        rows.append(row)
    return rows


def _model_cells(comparison: xr.Dataset) -> list[list[str]]:
    return [
        [
            str(name),
            *(f"{float(here[each]):z.1f}" for each in ("elpd", "difference", "difference_error")),
            f"{float(here['weight']):.2f}",
            str(int(here["high_k"])),
        ]
        for name in comparison["model"].values
        for here in (comparison.sel(model=name),)
    ]

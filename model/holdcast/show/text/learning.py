"""Parameters beside their priors: how far the data moved them."""

import pandas as pd
import xarray as xr

from holdcast.show.text.cell_rows import words
from holdcast.show.text.plain_table import each_row, learnt_text, plain_table

__all__ = ["learning_lines", "learning_rows"]


def learning_rows(moved: xr.Dataset) -> pd.DataFrame:
    """Return one row a parameter.

    Returns
    -------
    DataFrame
        Columns ``parameter, variable, label, unit, value_q05, value_q50, value_q95, prior_q05, prior_q50,
        prior_q95, contraction, shift``; values in the parameter's own unit.
    """
    columns = {"contraction": moved["contraction"], "shift": moved["shift"]}
    for quantile in (0.05, 0.5, 0.95):
        ending = f"q{round(100 * quantile):02d}"
        for name, source in (("value", "value"), ("prior", "prior_value")):
            value = moved[source].sel(quantile=quantile, method="nearest", tolerance=1e-9, drop=True)
            columns[f"{name}_{ending}"] = value
    return xr.Dataset(columns).reset_coords(["variable", "label", "unit"]).to_dataframe().reset_index()


def learning_lines(rows: pd.DataFrame, little: float, *, width: int | None = None) -> list[str]:
    """Return a table of parameters beside their priors.

    Parameters
    ----------
    rows : DataFrame
        From :func:`learning_rows`.
    little : float
        Below this contraction the parameter is marked as the prior's own.
    """
    body = [
        [
            words(str(row.parameter)),
            f"{row.value_q50:z.2f}",
            f"{row.value_q05:z.2f} to {row.value_q95:z.2f}",
            f"{row.prior_q05:z.2f} to {row.prior_q95:z.2f}",
            learnt_text(row.contraction),
            f"{row.shift:+z.1f}",
            "mostly the prior" if row.contraction < little else "",
        ]
        for row in each_row(rows)
    ]
    header = ["parameter", "median", "90% band", "prior's 90%", "learnt", "moved", ""]
    return plain_table(header, body, numbers=(1, 4, 5), width=width)

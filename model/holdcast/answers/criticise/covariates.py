"""What a pull's residual is looked at against: measurements of the anchor, and circumstances of the pull."""

import json
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.criticise.predictions import LEFT_OUT, NEW_DESIGN, NEW_VISIT
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import UNREAD

__all__ = ["COVARIATES", "Covariate", "covariates"]

Numbers = NDArray[np.float64]


class Covariate(NamedTuple):
    """One thing to look against.

    Attributes
    ----------
    name, unit : as a reader calls it.
    more : what pulls with a larger value are, such as "of heavier anchors".
    logarithmic : whether its logarithm is taken.
    prediction : which residual can show a trend with it; "" when that depends on where it varies.
    """

    name: str
    unit: str
    more: str
    logarithmic: bool
    prediction: str


COVARIATES: tuple[Covariate, ...] = (
    Covariate("mass", "kg", "of heavier anchors", True, NEW_DESIGN),
    Covariate("tip load", "kg", "of anchors with more tip load", True, NEW_DESIGN),
    Covariate("fluke area", "m²", "of anchors with more fluke area", True, NEW_DESIGN),
    Covariate("date", "days", "of later days", False, NEW_VISIT),
    Covariate("scope", "1", "with a longer scope", True, ""),
    Covariate("drag speed", "m/s", "read at a higher drag speed", True, LEFT_OUT),
    Covariate("expected load", "N", "with a larger expected load", True, LEFT_OUT),
)
"""In the order shown.  The expected load stands for the load: a load itself goes with its own residual, even
when the model is right."""


def covariates(fit: Fit, residuals: xr.Dataset) -> xr.DataArray:
    """Return what each pull is looked at against, on the scale used: logarithms where so said.

    Parameters
    ----------
    fit : Fit
        A fitted campaign.
    residuals : Dataset
        Its residuals, as from :func:`holdcast.answers.criticise.residuals.residuals`.

    Returns
    -------
    DataArray, dims (trial, covariate)
        NaN where not measured, or no load was read.  Coordinates ``unit``, ``more`` and ``logarithmic`` of
        the covariate.
    """
    trials = fit.tree["trials"].to_dataset().to_dataframe().loc[list(residuals["trial"].to_numpy())]
    anchors = fit.tree["anchors"].to_dataset().to_dataframe().loc[list(residuals["anchor"].to_numpy())]
    bow = json.loads(str(fit.tree.attrs.get("boat", "{}"))).get("bow_height_m", 0.0)
    read: dict[str, Callable[[], Numbers]] = {
        "mass": lambda: _column(anchors, "mass_kg"),
        "tip load": lambda: _column(anchors, "tip_load_kg"),
        "fluke area": lambda: _column(anchors, "fluke_area_m2"),
        "date": lambda: _days(trials),
        "scope": lambda: _scope(trials, float(bow)),
        "drag speed": lambda: _column(trials, "speed_mps"),
        "expected load": lambda: np.exp(residuals["expected"].sel(prediction=LEFT_OUT).to_numpy()),
    }
    columns = [_scaled(read[each.name](), logarithmic=each.logarithmic) for each in COVARIATES]
    # A pull of which no load was read has no residual to look at.
    unread = residuals["kind"].to_numpy() == UNREAD
    return xr.DataArray(
        np.where(unread[:, None], np.nan, np.stack(columns, axis=1)),
        dims=("trial", "covariate"),
        coords={
            "trial": residuals["trial"],
            "covariate": [each.name for each in COVARIATES],
            "unit": ("covariate", [each.unit for each in COVARIATES]),
            "more": ("covariate", [each.more for each in COVARIATES]),
            "logarithmic": ("covariate", [each.logarithmic for each in COVARIATES]),
        },
        attrs={"long_name": "what residuals are looked at against", "units": "see unit, logarithmic"},
    )


def _column(table: pd.DataFrame, name: str) -> Numbers:
    """Return a column as numbers; all unknown when the log has none."""
    if name not in table:
        return np.full(len(table), np.nan)
    return np.asarray(pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=float))


def _days(trials: pd.DataFrame) -> Numbers:
    if "date" not in trials:
        return np.full(len(trials), np.nan)
    dates = pd.to_datetime(trials["date"], errors="coerce")
    return np.asarray(((dates - dates.min()) / pd.Timedelta(days=1)).to_numpy(dtype=float))


def _scope(trials: pd.DataFrame, bow_height_m: float) -> Numbers:
    """Return the scope; where blank, rode length over depth and the bow's height above the water."""
    scopes, bow = _column(trials, "scope"), _column(trials, "bow_height_m")
    height = _column(trials, "depth_m") + np.where(np.isnan(bow), bow_height_m, bow)
    return np.where(np.isnan(scopes), _column(trials, "rode_length_m") / height, scopes)


def _scaled(values: Numbers, *, logarithmic: bool) -> Numbers:
    usable = np.where(values > 0.0, values, np.nan) if logarithmic else values
    return np.log(usable) if logarithmic else usable

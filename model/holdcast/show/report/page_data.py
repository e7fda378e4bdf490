"""What the page's own script reads: draws as whole numbers, labels as plain text, the table of winds."""

import base64
import string
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.physics.rode.uplift import KNEE_ANGLE_DEG, REFERENCE_ANGLE_DEG
from holdcast.physics.tackle.own_weight import LEAST_FRICTION_ANGLE_DEG, own_weight_floor_n
from holdcast.physics.tackle.wind import LENGTH_POWER, load_table
from holdcast.show.report.offline import safe_json
from holdcast.show.text.cell_rows import words
from holdcast.show.text.text_columns import plain

if TYPE_CHECKING:
    from holdcast.show.report.questions import Question

__all__ = ["Reader", "data_json", "price_column", "quantised"]

_DRAWN = {
    "log_capacity": ("sample", "anchor", "seabed"),
    "visit_spread": ("sample",),
    "pull_scatter": ("sample", "seabed"),
    "sets": ("sample", "anchor", "seabed"),
    "log_sliding_efficiency": ("sample",),
    "sliding_scatter": ("sample",),
    "strength_of_fall": ("sample",),
}
_DIGITS = string.ascii_uppercase + string.ascii_lowercase + string.digits + "+/"
"""Sixty-four of them, in the order of base64 (RFC 4648)."""
Array = NDArray[np.float64]


class Reader(NamedTuple):
    """What a reader can ask, and look up.

    Attributes
    ----------
    draws : Dataset
        As from ``holdcast.answers.page.joint_draws``.
    first_chances : DataArray, dims (anchor, seabed)
        Chances of the question that stands on the page before anybody asks; column ``""``: in all together.
    first_boat : (float, float, float)
        Of that question: length [m], wind [m/s] and load [N].
    anchors, trials : DataFrame
        The campaign's tables by label, SI.
    carried : DataFrame
        The tester's own columns by anchor.
    ranking : Dataset
        As from ``holdcast.answers.rank``.
    questions : sequence of Question
        What a reader asks next, with the answers.
    curves : Dataset, optional
        As from ``holdcast.answers.page.size_curves``.
    all_rounder : Dataset, optional
        As from ``holdcast.answers.rank.all_rounder``, where the tester has a threshold.
    """

    draws: xr.Dataset
    first_chances: xr.DataArray
    first_boat: tuple[float, float, float]
    anchors: pd.DataFrame
    trials: pd.DataFrame
    carried: pd.DataFrame
    ranking: xr.Dataset
    questions: "Sequence[Question]" = ()
    curves: xr.Dataset | None = None
    all_rounder: xr.Dataset | None = None


def quantised(values: Array, *, each_cell: bool = False) -> dict[str, object]:
    """Return numbers as whole steps from the least one, in base64.

    Parameters
    ----------
    values : array, shape (sample, …)
    each_cell : bool
        Each place has its own least number and step, in 6 bits, one character a number, sample by sample;
        otherwise all share one in 16 bits, little end first, three numbers in eight characters.

    Returns
    -------
    dict
        ``low`` and ``step``, one each a place; ``bits``; ``data``.  The error is at most half a step: of 6
        bits the range of a place's draws over 126, about a twentieth of their spread, which adds a thousandth
        to it and is as likely up as down.
    """
    flat = values.reshape(len(values), -1) if each_cell else values.reshape(-1, 1)
    bits = 6 if each_cell else 16
    low = flat.min(axis=0)
    step = (flat.max(axis=0) - low) / (2**bits - 1)
    step = np.where(step > 0.0, step, 1.0)
    whole = np.round((flat - low) / step).astype("<u2")
    text = "".join(_DIGITS[each] for each in whole.ravel()) if each_cell else _base64(whole.tobytes())
    return {
        "low": [float(f"{value:.9g}") for value in low],
        "step": [float(f"{value:.9g}") for value in step],
        "bits": bits,
        "data": text,
    }


def _base64(content: bytes) -> str:
    return base64.b64encode(content).decode("ascii")


def price_column(carried: pd.DataFrame) -> str:
    """Return the tester's own column that is a price in numbers, or blank."""
    for name in map(str, carried.columns):
        if "price" in name.casefold() and pd.to_numeric(carried[name], errors="coerce").notna().any():
            return name
    return ""


def data_json(reader: Reader, order: Sequence[str], units: str) -> str:
    """Return the script's data as JSON that cannot end the element it stands in.

    Parameters
    ----------
    reader : Reader
    order : sequence of str
        Anchors in the order in which the page shows them.
    units : {"si", "us"}
        Of what the page says before a reader chooses others.
    """
    draws = reader.draws.sel(anchor=list(order))
    price = price_column(reader.carried)
    prices = pd.to_numeric(reader.carried[price], errors="coerce") if price else None
    table = reader.anchors.loc[list(order)]
    lengths, winds, loads = load_table()
    seabeds = draws["seabed"].to_numpy().tolist()
    content: dict[str, object] = {
        "anchors": [
            {
                "name": plain(name),
                "form": words(str(row["form"])),
                "mass": float(row["mass_kg"]),
                "price": None if prices is None or pd.isna(prices[str(name)]) else float(prices[str(name)]),
            }
            for name, row in table.iterrows()
        ],
        "units": units,
        "seabeds": [plain(name) for name in seabeds],
        "forms": sorted({words(str(form)) for form in table["form"]}),
        "price": plain(words(price)),
        "tested": draws["tested"].transpose("anchor", "seabed").to_numpy().astype(int).tolist(),
        "draws": {
            name: quantised(draws[name].transpose(*dims).to_numpy(), each_cell="anchor" in dims)
            for name, dims in _DRAWN.items()
        },
        "curves": _curves(reader, table["design"], seabeds),
        "rode": _rode(draws),
        "wind": {"lengths": lengths, "winds": winds, "loads": loads, "power": LENGTH_POWER},
    }
    return safe_json(content)


def _curves(reader: Reader, designs: pd.Series, seabeds: Sequence[str]) -> dict[str, object] | None:
    """Return masses [kg], each anchor's curve, and log capacities by curve, seabed, mass and quantile."""
    if reader.curves is None:
        return None
    shapes = list(dict.fromkeys(designs))
    capacity = reader.curves["capacity_n"].sel(quantile=[0.05, 0.5, 0.95], method="nearest", tolerance=1e-9)
    ordered = capacity.sel(shape=shapes, seabed=seabeds).transpose("shape", "seabed", "mass_kg", "quantile")
    return {
        "masses": [float(f"{mass:.6g}") for mass in reader.curves["mass_kg"].to_numpy()],
        "of": [shapes.index(design) for design in designs],
        "capacity": quantised(np.log(ordered.to_numpy())),
    }


def _rode(draws: xr.Dataset) -> dict[str, float | None]:
    """Return what the script needs for a rode that leads upwards: angles [deg], and what weight resists."""
    let_go, scope = float(draws["least_let_go"]), float(draws["least_scope"])
    return {
        "knee": KNEE_ANGLE_DEG,
        "reference": REFERENCE_ANGLE_DEG,
        "friction_angle": LEAST_FRICTION_ANGLE_DEG,
        "resists": float(own_weight_floor_n(1.0)),
        "let_go": let_go if np.isfinite(let_go) else None,
        "least_scope": scope if np.isfinite(scope) else None,
    }

"""What the page's own script reads: draws as whole numbers of 16 bits, labels as plain text, the table of winds."""

import base64
import hashlib
import json
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.physics.tackle.wind import LENGTH_POWER, load_table
from holdcast.show.text.cell_rows import words
from holdcast.show.text.layout import plain

__all__ = ["Reader", "data_json", "price_column", "quantised", "source_hash"]

_DRAWN = {
    "log_capacity": ("sample", "anchor", "seabed"),
    "visit_spread": ("sample",),
    "pull_scatter": ("sample", "seabed"),
    "sets": ("sample", "anchor", "seabed"),
    "log_sliding_efficiency": ("sample",),
    "sliding_scatter": ("sample",),
}
_LARGEST = 65535


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
    """

    draws: xr.Dataset
    first_chances: xr.DataArray
    first_boat: tuple[float, float, float]
    anchors: pd.DataFrame
    trials: pd.DataFrame
    carried: pd.DataFrame
    ranking: xr.Dataset


def quantised(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> dict[str, object]:
    """Return numbers as whole steps from the least one, little end first, in base64.

    The error is at most half a step: the range over 131,070.
    """
    low, high = float(values.min()), float(values.max())
    step = (high - low) / _LARGEST or 1.0
    whole = np.round((values - low) / step).astype("<u2")
    return {"low": low, "step": step, "data": base64.b64encode(whole.tobytes()).decode("ascii")}


def price_column(carried: pd.DataFrame) -> str:
    """Return the tester's own column that is a price in numbers, or blank."""
    for name in map(str, carried.columns):
        if "price" in name.casefold() and pd.to_numeric(carried[name], errors="coerce").notna().any():
            return name
    return ""


def data_json(reader: Reader, order: Sequence[str]) -> str:
    """Return the script's data as JSON that cannot end the element it stands in.

    Parameters
    ----------
    reader : Reader
    order : sequence of str
        Anchors in the order in which the page shows them.
    """
    draws = reader.draws.sel(anchor=list(order))
    price = price_column(reader.carried)
    prices = pd.to_numeric(reader.carried[price], errors="coerce") if price else None
    table = reader.anchors.loc[list(order)]
    lengths, winds, loads = load_table()
    content = {
        "anchors": [
            {
                "name": plain(name),
                "form": words(str(row["form"])),
                "mass": float(row["mass_kg"]),
                "price": None if prices is None or pd.isna(prices[name]) else float(prices[name]),
            }
            for name, row in table.iterrows()
        ],
        "seabeds": [plain(name) for name in draws["seabed"].to_numpy()],
        "forms": sorted({words(str(form)) for form in table["form"]}),
        "price": plain(words(price)),
        "tested": draws["tested"].transpose("anchor", "seabed").to_numpy().astype(int).tolist(),
        "draws": {
            name: quantised(draws[name].transpose(*dims).to_numpy().astype(float))
            for name, dims in _DRAWN.items()
        },
        "wind": {"lengths": lengths, "winds": winds, "loads": loads, "power": LENGTH_POWER},
    }
    text = json.dumps(content, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def source_hash(text: str) -> str:
    """Return the hash by which a page's policy lets one script or style through, and no other."""
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii") + "'"

"""Capacity and a new pull for any anchor in any seabed: tested or not, a new size, anchor or seabed."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.draws.anchors import AnchorDraws, known_anchor, new_anchor
from holdcast.answers.draws.bands import BANDS, band_of
from holdcast.answers.draws.draws import Draws, Floats, draws_of
from holdcast.answers.draws.new_pull import new_pull
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.draws.rode import (
    beyond_tested_scopes,
    boat_bow_height_m,
    geometry_of,
    least_tested_scope,
    on_rode,
    rode_table,
)
from holdcast.answers.draws.seabeds import SeabedDraws, known_seabed, new_seabed
from holdcast.answers.draws.tested_range import inside_or_outside, outside_of
from holdcast.answers.predict.requests import complete_requests
from holdcast.capacity import Fit
from holdcast.physics.units import GRAVITY

__all__ = ["anchor_of_request", "predict", "seabed_of_request"]

_Key = tuple[object, ...]
_MOST_KEPT = 64


def predict(fit: Fit, requests: pd.DataFrame, *, seed: int | None = None) -> xr.Dataset:
    """Return capacity and a single new pull for each request.

    Parameters
    ----------
    fit : Fit
        A fitted campaign.
    requests : DataFrame, index request
        A known ``anchor``, or a new one by the columns of anchors.csv; a known ``seabed``, or a new one by
        the columns of seabeds.csv; optional ``scope``, ``rode``, ``depth_m``, ``bow_height_m``,
        ``chain_kg_per_m``, ``chain_length_m``.  SI units, names as ``Campaign`` holds them.
    seed : int, optional
        Of everything drawn for new members; the fit's own by default.

    Returns
    -------
    Dataset, dims (request, quantile)
        ``capacity_n``, ``new_pull_n`` [N] and ``efficiency`` [1] at equal-tailed quantiles; ``basis``,
        ``range``, ``outside`` (what is outside and how far) and ``assumed``, dim request; coordinates anchor,
        seabed, mass_kg.

    Raises
    ------
    KeyError
        For an unknown anchor without a mass, an unknown seabed without a soil, or an unknown rode.
    PhysicsError
        When a scope, soil or strength is not allowed.

    Notes
    -----
    An answer does not depend on what else is asked.  New members draw their own effects, none is set to zero.
    """
    draws = draws_of(fit, seed)
    rows = complete_requests(draws, requests)
    rodes, bow, least = rode_table(fit), boat_bow_height_m(fit), least_tested_scope(fit)
    shape = (len(rows), len(BANDS))
    capacity, pull = np.empty(shape), np.empty(shape)
    assumed: list[str] = []
    anchors: dict[_Key, AnchorDraws] = {}
    seabeds: dict[_Key, SeabedDraws] = {}
    for number, (_, row) in enumerate(rows.iterrows()):
        geometry = geometry_of(row, rodes, bow)
        leans_on = (str(row["assumed"]), geometry.assumed, beyond_tested_scopes(least, geometry.scope))
        assumed.append("; ".join(filter(None, leans_on)))
        anchor = anchors.get(key := _key(row, "anchor")) or anchor_of_request(draws, row)
        seabed = seabeds.get(place := _key(row, "seabed")) or seabed_of_request(draws, row)
        # Only the last ones are kept: members are drawn from streams of their own, so that making one again
        # gives the same draws.
        anchors, seabeds = {**_few(anchors), key: anchor}, {**_few(seabeds), place: seabed}
        one_pull = new_pull(draws, [anchor], seabed, geometry)
        capacity[number] = band_of(np.exp(on_rode(draws, one_pull.capacity[0], geometry)))
        pull[number] = one_pull.quantiles_n(BANDS)[0]
    return _answer(fit, draws, rows.assign(assumed=assumed), capacity, pull)


def _few[Made](made: dict[_Key, Made]) -> dict[_Key, Made]:
    return made if len(made) < _MOST_KEPT else {}


def _key(row: pd.Series, kind: str) -> _Key:
    """Return what makes two rows speak of one and the same anchor or seabed, measures included."""
    if row[f"known_{kind}"]:
        return (row[kind],)
    if kind == "seabed":
        return (row["seabed"], row["soil"], row["strength_index"], row["strength_index_spread"])
    flags = tuple(row[name] for name in row.index if str(name).startswith("flag_"))
    measures = ("mass_kg", "log_tip_load", "log_tip_load_spread", "log_area_excess", "log_area_excess_spread")
    return (row["anchor"], row["design"], row["form"], *flags, *(row[name] for name in measures))


def anchor_of_request(draws: Draws, row: pd.Series) -> AnchorDraws:
    """Return the anchor of a completed request."""
    label = str(row["anchor"])
    if row["known_anchor"]:
        return known_anchor(draws, label)
    return new_anchor(draws, label, row, row)


def seabed_of_request(draws: Draws, row: pd.Series) -> SeabedDraws:
    """Return the seabed of a completed request."""
    label = str(row["seabed"])
    if row["known_seabed"]:
        return known_seabed(draws, label)
    return new_seabed(
        draws, label, str(row["soil"]), float(row["strength_index"]), float(row["strength_index_spread"])
    )


def _answer(fit: Fit, draws: Draws, rows: pd.DataFrame, capacity: Floats, pull: Floats) -> xr.Dataset:
    outside = outside_of(draws, rows)
    weight = rows["mass_kg"].to_numpy(dtype=float) * GRAVITY
    band, one = ("request", "quantile"), ("request",)
    return xr.Dataset(
        {
            "capacity_n": (band, capacity, about("N", "capacity on the rode asked for")),
            "efficiency": (band, capacity / weight[:, None], about("1", "holding efficiency")),
            "new_pull_n": (band, pull, about("N", "one new pull on a new visit")),
            "basis": (one, rows["basis"].to_numpy(dtype=str), about("1", "on what the answer rests")),
            "range": (
                one,
                inside_or_outside(outside),
                about("1", "inside or outside what was tested"),
            ),
            "outside": (one, outside.to_numpy(dtype=str), about("1", "what is outside and how far")),
            "assumed": (one, rows["assumed"].to_numpy(dtype=str), about("1", "what was assumed")),
        },
        coords={
            "request": rows.index.to_numpy(dtype=str),
            "quantile": list(BANDS),
            "anchor": (one, rows["anchor"].to_numpy(dtype=str)),
            "seabed": (one, rows["seabed"].to_numpy(dtype=str)),
            "mass_kg": (one, rows["mass_kg"].to_numpy(dtype=float)),
        },
        attrs=provenance(fit, draws.seed),
    )

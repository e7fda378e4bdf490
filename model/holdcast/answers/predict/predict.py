"""Capacity and a new pull for any anchor in any seabed: tested or not, a new size, anchor or seabed."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.cells.cells import QUANTILES
from holdcast.answers.draws.anchors import AnchorDraws, known_anchor, new_anchor
from holdcast.answers.draws.capacity import log_capacity, log_new_pull
from holdcast.answers.draws.known import Floats, Known, known
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
from holdcast.answers.draws.tested_range import outside_of
from holdcast.answers.predict.requests import complete_requests
from holdcast.capacity import Fit
from holdcast.physics.rode.catenary import GRAVITY

__all__ = ["anchor_asked", "capacity_draws", "predict", "seabed_asked"]

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
    facts = known(fit, seed)
    rows = complete_requests(facts, requests)
    rodes, bow, least = rode_table(fit), boat_bow_height_m(fit), least_tested_scope(fit)
    shape = (len(rows), len(QUANTILES))
    capacity, pull = np.empty(shape), np.empty(shape)
    assumed: list[str] = []
    anchors: dict[_Key, AnchorDraws] = {}
    seabeds: dict[_Key, SeabedDraws] = {}
    for number, (_, row) in enumerate(rows.iterrows()):
        geometry = geometry_of(row, rodes, bow)
        leans_on = (str(row["assumed"]), geometry.assumed, beyond_tested_scopes(least, geometry.scope))
        assumed.append("; ".join(filter(None, leans_on)))
        anchor = anchors.get(key := _key(row, "anchor")) or anchor_asked(facts, row)
        seabed = seabeds.get(place := _key(row, "seabed")) or seabed_asked(facts, row)
        # Only the last ones are kept: members are drawn from streams of their own, so that making one again
        # gives the same draws.
        anchors, seabeds = {**_few(anchors), key: anchor}, {**_few(seabeds), place: seabed}
        along, one_pull = capacity_draws(facts, anchor, seabed)
        capacity[number] = np.quantile(np.exp(on_rode(facts, along, geometry)), QUANTILES)
        pull[number] = np.quantile(np.exp(on_rode(facts, one_pull, geometry)), QUANTILES)
    return _answer(fit, facts, rows.assign(assumed=assumed), capacity, pull)


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


def anchor_asked(facts: Known, row: pd.Series) -> AnchorDraws:
    """Return the anchor of a completed request."""
    label = str(row["anchor"])
    if row["known_anchor"]:
        return known_anchor(facts, label)
    return new_anchor(facts, label, row, row)


def seabed_asked(facts: Known, row: pd.Series) -> SeabedDraws:
    """Return the seabed of a completed request."""
    label = str(row["seabed"])
    if row["known_seabed"]:
        return known_seabed(facts, label)
    return new_seabed(
        facts, label, str(row["soil"]), float(row["strength_index"]), float(row["strength_index_spread"])
    )


def capacity_draws(facts: Known, anchor: AnchorDraws, seabed: SeabedDraws) -> tuple[Floats, Floats]:
    """Return draws of log capacity and of the log load of one new pull [log N], each of shape (sample,)."""
    along = log_capacity(facts, anchor, seabed)
    return along, log_new_pull(facts, along, anchor, seabed)


def _answer(fit: Fit, facts: Known, rows: pd.DataFrame, capacity: Floats, pull: Floats) -> xr.Dataset:
    outside = outside_of(facts, rows)
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
                np.where(outside == "", "inside", "outside").astype(str),
                about("1", "inside or outside what was tested"),
            ),
            "outside": (one, outside.to_numpy(dtype=str), about("1", "what is outside and how far")),
            "assumed": (one, rows["assumed"].to_numpy(dtype=str), about("1", "what was assumed")),
        },
        coords={
            "request": rows.index.to_numpy(dtype=str),
            "quantile": list(QUANTILES),
            "anchor": (one, rows["anchor"].to_numpy(dtype=str)),
            "seabed": (one, rows["seabed"].to_numpy(dtype=str)),
            "mass_kg": (one, rows["mass_kg"].to_numpy(dtype=float)),
        },
        attrs=provenance(fit, facts.seed),
    )

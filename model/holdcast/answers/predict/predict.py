"""Capacity, a new pull and the chances of setting of any anchor in any seabed, tested or not."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.draws.anchors import AnchorDraws, known_anchor, new_anchor
from holdcast.answers.draws.bands import BANDS, band_of
from holdcast.answers.draws.draws import Draws, Floats, draws_of
from holdcast.answers.draws.new_pull import new_pull
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.draws.rode import (
    Geometry,
    beyond_tested_scopes,
    boat_bow_height_m,
    geometry_of,
    least_tested_scope,
    on_rode,
    rode_table,
)
from holdcast.answers.draws.seabeds import SeabedDraws, known_seabed, new_seabed
from holdcast.answers.draws.setting import setting_of_new
from holdcast.answers.draws.tested_range import inside_or_outside, outside_of
from holdcast.answers.predict.requests import complete_requests
from holdcast.capacity import Fit
from holdcast.physics.units import GRAVITY

__all__ = ["anchor_of_request", "predict", "seabed_of_request"]

_Key = tuple[object, ...]
_MOST_KEPT = 64
_WITH_BANDS = {
    "capacity_n": about("N", "capacity on the rode asked for"),
    "new_pull_n": about("N", "one new pull on a new visit"),
    "sets": about("1", "chance that the anchor of a new pull digs in"),
    "resets": about("1", "chance that it digs in again after a reversal of 180 degrees"),
    "veer_kept": about("1", "share of a straight pull's capacity left after a turn of 180 degrees"),
}


def predict(fit: Fit, requests: pd.DataFrame, *, seed: int | None = None) -> xr.Dataset:
    """Return capacity, a single new pull and the chances of setting for each request.

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
        ``capacity_n``, ``new_pull_n`` [N] and ``efficiency`` [1] at equal-tailed quantiles; ``sets``,
        ``resets`` and ``veer_kept`` [1] likewise (see :data:`holdcast.answers.draws.setting.KINDS`), the last
        two where the log holds such tests; ``basis``,
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
    bands: list[dict[str, Floats]] = []
    assumed: list[str] = []
    anchors: dict[_Key, AnchorDraws] = {}
    seabeds: dict[_Key, SeabedDraws] = {}
    for _, row in rows.iterrows():
        geometry = geometry_of(row, rodes, bow)
        leans_on = (str(row["assumed"]), geometry.assumed, beyond_tested_scopes(least, geometry.scope))
        assumed.append("; ".join(filter(None, leans_on)))
        anchor = anchors.get(key := _key(row, "anchor")) or anchor_of_request(draws, row)
        seabed = seabeds.get(place := _key(row, "seabed")) or seabed_of_request(draws, row)
        # Only the last ones are kept: members are drawn from streams of their own, so that making one again
        # gives the same draws.
        anchors, seabeds = {**_few(anchors), key: anchor}, {**_few(seabeds), place: seabed}
        bands.append(_bands(draws, anchor, seabed, geometry))
    return _answer(fit, draws, rows.assign(assumed=assumed), bands)


def _bands(draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws, geometry: Geometry) -> dict[str, Floats]:
    """Return the quantiles of everything that has a band, by name."""
    pull = new_pull(draws, [anchor], seabed, geometry)
    shares = setting_of_new(draws, anchor, seabed, pull.sets[0])
    return {
        "capacity_n": band_of(np.exp(on_rode(draws, pull.capacity[0], geometry))),
        "new_pull_n": pull.quantiles_n(BANDS)[0],
        **{kind: band_of(values) for kind, values in shares.items()},
    }


def _few[Member](members: dict[_Key, Member]) -> dict[_Key, Member]:
    return members if len(members) < _MOST_KEPT else {}


def _key(row: pd.Series, kind: str) -> _Key:
    """Return what makes two rows speak of one and the same anchor or seabed, measures included."""
    if row[f"known_{kind}"]:
        return (row[kind],)
    if kind == "seabed":
        return (row["seabed"], row["soil"], row["strength_index"], row["strength_index_spread"], row["cover"])
    flags = tuple(row[name] for name in row.index if str(name).startswith("flag_"))
    measures = ("mass_kg", "log_tip_load", "log_tip_load_spread", "log_area_excess", "log_area_excess_spread",
                "fluke_angle_steps")  # fmt: skip
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
    index, spread = float(row["strength_index"]), float(row["strength_index_spread"])
    return new_seabed(draws, label, str(row["soil"]), index, spread, str(row["cover"]))


def _answer(fit: Fit, draws: Draws, rows: pd.DataFrame, bands: list[dict[str, Floats]]) -> xr.Dataset:
    outside = outside_of(draws, rows)
    weight = rows["mass_kg"].to_numpy(dtype=float) * GRAVITY
    band, one = ("request", "quantile"), ("request",)
    names = [name for name in _WITH_BANDS if not bands or name in bands[0]]
    by_name = {name: np.array([each[name] for each in bands]).reshape(-1, len(BANDS)) for name in names}
    efficiency = by_name["capacity_n"] / weight[:, None]
    return xr.Dataset(
        {
            **{name: (band, values, _WITH_BANDS[name]) for name, values in by_name.items()},
            "efficiency": (band, efficiency, about("1", "holding efficiency")),
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

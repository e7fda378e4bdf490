"""A boat in a wind: does one new pull hold the load, what mass would, and how much wind is left."""

from collections.abc import Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.anchors import known_anchor
from holdcast.answers.draws.known import Floats, Known, known
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.draws.rode import Geometry, beyond_tested_scopes, least_tested_scope, on_rode
from holdcast.answers.draws.samples import pulls
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.answers.predict.predict import capacity_draws
from holdcast.answers.sizes.sizes import mass_for_load
from holdcast.capacity import Fit
from holdcast.capacity.inputs.labels import positions
from holdcast.physics.rode.catenary import bar_tight_angle_deg
from holdcast.physics.tackle.wind import (
    DRAG_COEFFICIENTS,
    MPS_PER_KNOT,
    beyond_load_table,
    mooring_load_n,
    wind_drag_n,
)

__all__ = ["WINDS_KN", "boat", "lightest", "wind_load_n", "wind_of_load_mps"]

WINDS_KN = (15.0, 30.0, 42.0, 60.0)
"""Winds of the printed table ABYC H-40 [kn]: lunch hook, working, storm, and the trade's extension."""
_FASTEST_MPS = 150.0
"""Winds searched end here [m/s]: no wind at sea is stronger (a bound, no source)."""


def wind_load_n(
    wind_mps: Floats, *, length_m: float | None = None, frontal_area_m2: float | None = None
) -> Floats:
    """Return the horizontal load of a boat in a wind [N], shape of `wind_mps`.

    Parameters
    ----------
    wind_mps : array
        Wind [m/s].
    length_m : float, optional
        Length overall [m]: load by ABYC H-40, some surge included.
    frontal_area_m2 : float, optional
        Frontal area [m²]: drag of the wind alone, with the shape coefficient of a yacht lying bow on, 0.7.

    Raises
    ------
    ValueError
        Unless exactly one of length and area is given.
    PhysicsError
        When a value is not allowed.
    """
    wind = np.asarray(wind_mps, dtype=float)
    if (length_m is None) == (frontal_area_m2 is None):
        raise ValueError("give either the boat's length or its frontal area")
    if length_m is not None:
        return np.asarray(mooring_load_n(length_m, wind), dtype=float)
    drag = DRAG_COEFFICIENTS["sailing_yacht_bow_on"]
    load: Floats = np.asarray(wind_drag_n(frontal_area_m2, wind, drag), dtype=float)
    return load


def wind_of_load_mps(
    load_n: Floats, *, length_m: float | None = None, frontal_area_m2: float | None = None
) -> Floats:
    """Return the wind that loads the boat so much [m/s], at most 150: the inverse of :func:`wind_load_n`."""
    load = np.asarray(load_n, dtype=float)
    low, high = np.zeros(load.shape), np.full(load.shape, _FASTEST_MPS)
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = wind_load_n(middle, length_m=length_m, frontal_area_m2=frontal_area_m2) < load
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray(0.5 * (low + high), dtype=float)


def boat(
    fit: Fit,
    *,
    length_m: float | None = None,
    frontal_area_m2: float | None = None,
    wind_mps: Sequence[float] | None = None,
    chance: float = 0.95,
    scope: float | None = None,
    seabeds: Sequence[str] | None = None,
    seed: int | None = None,
) -> xr.Dataset:
    """Return for each tested anchor and seabed whether one new pull holds the boat.

    Parameters
    ----------
    fit : Fit
    length_m, frontal_area_m2 : float, optional
        Exactly one of them, see :func:`wind_load_n`.
    wind_mps : sequence of float, optional
        Winds [m/s]; 15, 30, 42 and 60 kn by default.
    chance : float
        Chance of holding for which the wind left is given.
    scope : float, optional
        Turns the pull by a rode pulled straight at that scope; along the bottom without it.
    seabeds : sequence of str, optional
        All by default.
    seed : int, optional
        Of the new pulls; the fit's own by default.

    Returns
    -------
    Dataset, dims (anchor, seabed, wind_mps)
        ``exceeds``: chance that a single new pull exceeds the load; ``load_n`` (wind_mps) [N];
        ``holds_wind_mps`` (anchor, seabed): wind whose load one new pull exceeds with that chance;
        ``margin_mps``: that wind less the wind, negative when too little; ``new_pull_n``: the load that one
        new pull reaches with that chance; ``capacity_n`` (anchor, seabed, quantile) with its 90% band;
        ``tested`` (anchor, seabed): whether a pull of the cell was used.  Attribute ``extrapolated`` tells of
        loads beyond the printed table, ``scope_beyond`` of a scope steeper than any pulled.

    Raises
    ------
    KeyError
        For an unknown seabed.
    ValueError
        When not exactly one of length and area is given, or the chance is not between 0 and 1.
    PhysicsError
        When a wind, length, area or scope is not allowed.
    """
    _check_chance(chance)
    size: dict[str, float | None] = {"length_m": length_m, "frontal_area_m2": frontal_area_m2}
    winds = _winds(wind_mps)
    loads = wind_load_n(winds, **size)
    facts = known(fit, seed)
    places = _places(facts, seabeds)
    exceeds, reached, capacity = _chances(facts, places, loads, chance, scope)
    holds = wind_of_load_mps(reached, **size)
    cell = ("anchor", "seabed")
    return xr.Dataset(
        {
            "exceeds": (
                (*cell, "wind_mps"),
                exceeds,
                about("1", "chance that one new pull exceeds the load"),
            ),
            "load_n": ("wind_mps", loads, about("N", "load of the boat in the wind")),
            "new_pull_n": (cell, reached, about("N", f"what one new pull reaches with chance {chance:g}")),
            "holds_wind_mps": (cell, holds, about("m s-1", "wind with that load")),
            "margin_mps": ((*cell, "wind_mps"), holds[:, :, None] - winds, about("m s-1", "wind left")),
            "capacity_n": ((*cell, "quantile"), capacity, about("N", "capacity on the rode asked for")),
            "tested": (cell, _pulled(fit, places), about("1", "whether a pull of the cell was used")),
        },
        coords={**_anchors(facts), "seabed": places, "wind_mps": winds, "quantile": [0.05, 0.5, 0.95]},
        attrs=provenance(fit, facts.seed)
        | _asked(chance, {**size, "scope": scope}, winds)
        | {"scope_beyond": beyond_tested_scopes(least_tested_scope(fit), np.nan if scope is None else scope)},
    )


def _pulled(fit: Fit, places: list[str]) -> NDArray[np.bool_]:
    """Return whether a pull of each cell was used, dims (anchor, seabed)."""
    used = pulls(fit).sel(seabed=places).transpose("anchor", "seabed")
    return np.asarray(used.to_numpy() > 0)


def _asked(chance: float, values: dict[str, float | None], winds: Floats) -> dict[str, object]:
    """Return what was asked, and 1 as ``extrapolated`` where a load is read beyond the printed table."""
    length = values["length_m"]
    extrapolated = 0 if length is None else int(beyond_load_table(length, winds).any())
    return {"chance": chance, "extrapolated": extrapolated} | _given(values)


def _check_chance(chance: float) -> None:
    if not 0.0 < chance < 1.0:
        raise ValueError(f"the chance must be between 0 and 1, got {chance:g}")


def _places(facts: Known, seabeds: Sequence[str] | None) -> list[str]:
    chosen = facts.labels["seabed"] if seabeds is None else list(seabeds)
    positions(chosen, facts.labels["seabed"], "seabed")
    return chosen


def _winds(wind_mps: Sequence[float] | None) -> Floats:
    table = [knots * MPS_PER_KNOT for knots in WINDS_KN]
    return np.array(table if wind_mps is None else wind_mps, dtype=float)


def _anchors(facts: Known) -> dict[str, object]:
    """Return the coordinates of anchors: labels, design, form and mass."""
    words = {name: ("anchor", facts.anchors[name].to_numpy(dtype=str)) for name in ("design", "form")}
    mass = ("anchor", facts.anchors["mass_kg"].to_numpy(dtype=float))
    return {"anchor": facts.labels["anchor"], **words, "mass_kg": mass}


def _given(values: dict[str, float | None]) -> dict[str, object]:
    return {name: value for name, value in values.items() if value is not None}


def _chances(
    facts: Known, places: list[str], loads: Floats, chance: float, scope: float | None
) -> tuple[Floats, Floats, Floats]:
    """Return chances (anchor, seabed, wind), loads that one pull reaches, capacity (…, quantile)."""
    if scope is not None:
        bar_tight_angle_deg(scope)
    geometry = Geometry(np.nan if scope is None else scope, None, "")
    anchors = facts.labels["anchor"]
    exceeds = np.empty((len(anchors), len(places), len(loads)))
    reached = np.empty((len(anchors), len(places)))
    capacity = np.empty((len(anchors), len(places), 3))
    for j, label in enumerate(places):
        seabed = known_seabed(facts, label)
        for i, name in enumerate(anchors):
            draws = capacity_draws(facts, known_anchor(facts, name), seabed)
            along, pull = (on_rode(facts, each, geometry) for each in draws)
            exceeds[i, j] = (np.exp(pull)[:, None] > loads).mean(axis=0)
            reached[i, j] = np.exp(np.quantile(pull, 1.0 - chance))
            capacity[i, j] = np.quantile(np.exp(along), (0.05, 0.5, 0.95))
    return exceeds, reached, capacity


def lightest(
    fit: Fit,
    *,
    load_n: float,
    chance: float = 0.95,
    scope: float | None = None,
    seabeds: Sequence[str] | None = None,
    seed: int | None = None,
) -> xr.Dataset:
    """Return the lightest anchor of each design of which one new pull holds a load with a chance.

    Parameters
    ----------
    fit, chance, scope, seabeds, seed
        As in :func:`boat`.
    load_n : float
        Load at the anchor [N].

    Returns
    -------
    Dataset, dims (design, seabed)
        ``tested_anchor``, ``tested_kg``: the lightest listed anchor that does it, blank and infinite when
        none; ``scaled_kg``: the mass at which the design would, scaled by the fit; ``times_largest`` of the
        tested ones.

    Raises
    ------
    KeyError
        For an unknown seabed.
    ValueError
        When the load is not above 0 or the chance not between 0 and 1.
    """
    scaled = mass_for_load(fit, load_n, seabeds=seabeds, chances=(chance,), scope=scope, seed=seed)
    scaled = scaled.isel(chance=0, drop=True)
    facts = known(fit, seed)
    places = [str(label) for label in scaled["seabed"].to_numpy()]
    exceeds, _, _ = _chances(facts, places, np.array([load_n]), chance, scope)
    designs = [str(label) for label in scaled["shape"].to_numpy()]
    names = np.full((len(designs), len(places)), "", dtype=object)
    masses = np.full((len(designs), len(places)), np.inf)
    for i, anchor in enumerate(facts.labels["anchor"]):
        d, mass = designs.index(str(facts.anchors["design"].iloc[i])), float(facts.anchors["mass_kg"].iloc[i])
        for j in np.flatnonzero((exceeds[i, :, 0] >= chance) & (mass < masses[d])):
            names[d, j], masses[d, j] = anchor, mass
    dims = ("design", "seabed")
    return xr.Dataset(
        {
            "tested_anchor": (dims, names.astype(str), about("1", "lightest listed anchor that holds it")),
            "tested_kg": (dims, masses, about("kg", "its mass")),
            "scaled_kg": (
                dims,
                scaled["mass_new_pull_kg"].to_numpy(),
                about("kg", "mass scaled by the fit"),
            ),
            "times_largest": (
                dims,
                scaled["times_largest_new_pull"].to_numpy(),
                about("1", "of largest tested"),
            ),
        },
        {"design": designs, "seabed": places},
        {**scaled.attrs, "chance": chance},
    )

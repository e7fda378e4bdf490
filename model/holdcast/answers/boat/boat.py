"""A boat in a wind: does one new pull hold the load, what mass would, and how much wind is left."""

from collections.abc import Sequence

import numpy as np
import xarray as xr

from holdcast.answers.draws.anchors import known_anchor
from holdcast.answers.draws.bands import BAND_90, band_of
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import Draws, Floats, draws_of
from holdcast.answers.draws.new_pull import NewPull, new_pull
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.draws.rode import (
    Geometry,
    beyond_tested_scopes,
    least_tested_scope,
    on_rode,
    straight,
    tension_factor,
)
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.answers.sizes.sizes import mass_for_load
from holdcast.capacity import Fit
from holdcast.physics.roots import root_between
from holdcast.physics.tackle.wind import (
    DRAG_COEFFICIENTS,
    beyond_load_table,
    mooring_load_n,
    wind_drag_n,
)
from holdcast.physics.units import MPS_PER_KNOT

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

    def excess(wind_mps: Floats, wanted_n: Floats) -> Floats:
        return wind_load_n(wind_mps, length_m=length_m, frontal_area_m2=frontal_area_m2) - wanted_n

    strongest = wind_load_n(np.array(_FASTEST_MPS), length_m=length_m, frontal_area_m2=frontal_area_m2)
    within = np.minimum(np.asarray(load_n, dtype=float), strongest)
    return root_between(excess, 0.0, _FASTEST_MPS, (within,))


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
        Turns the pull by a rode pulled straight at that scope; along the bottom without it.  The boat's load
        is horizontal, so the tension along the rode is larger by 1 / cos of its angle.
    seabeds : sequence of str, optional
        All by default.
    seed : int, optional
        Of the new pulls; the fit's own by default.

    Returns
    -------
    Dataset, dims (anchor, seabed, wind_mps)
        ``exceeds``: chance that a single new pull exceeds the load; ``load_n`` (wind_mps) [N], horizontal,
        and ``tension_n``, the same along the rode;
        ``holds_wind_mps`` (anchor, seabed): wind whose load one new pull exceeds with that chance;
        ``margin_mps``: that wind less the wind, negative when too little; ``new_pull_n``: the load that one
        new pull reaches with that chance, along the rode; ``capacity_n`` (anchor, seabed, quantile) with its
        90% band; ``tested`` and ``bounded`` (anchor, seabed), see
        :func:`holdcast.answers.draws.counts.counts`.  Attribute ``extrapolated`` tells of
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
    draws, geometry = draws_of(fit, seed), straight(scope)
    places = draws.labels("seabed", seabeds)
    along_rode = loads * tension_factor(geometry)
    exceeds, reached, capacity = _chances(draws, places, along_rode, chance, geometry)
    holds = wind_of_load_mps(reached / tension_factor(geometry), **size)
    cell = ("anchor", "seabed")
    return xr.Dataset(
        {
            "exceeds": ((*cell, "wind_mps"), exceeds, about("1", "chance that one new pull exceeds it")),
            "load_n": ("wind_mps", loads, about("N", "horizontal load of the boat in the wind")),
            "tension_n": ("wind_mps", along_rode, about("N", "that load along the rode")),
            "new_pull_n": (cell, reached, about("N", f"what one new pull reaches with chance {chance:g}")),
            "holds_wind_mps": (cell, holds, about("m s-1", "wind with that load")),
            "margin_mps": ((*cell, "wind_mps"), holds[:, :, None] - winds, about("m s-1", "wind left")),
            "capacity_n": ((*cell, "quantile"), capacity, about("N", "capacity on the rode asked for")),
            **counts(draws)[["tested", "bounded"]].sel(seabed=places).data_vars,
        },
        coords={**_anchors(draws), "seabed": places, "wind_mps": winds, "quantile": list(BAND_90)},
        attrs=provenance(fit, draws.seed)
        | _asked(chance, {**size, "scope": scope}, winds)
        | {"scope_beyond": beyond_tested_scopes(least_tested_scope(fit), geometry.scope)},
    )


def _asked(chance: float, values: dict[str, float | None], winds: Floats) -> dict[str, object]:
    """Return what was asked, and 1 as ``extrapolated`` where a load is read beyond the printed table."""
    length = values["length_m"]
    extrapolated = 0 if length is None else int(beyond_load_table(length, winds).any())
    return {"chance": chance, "extrapolated": extrapolated} | _given(values)


def _check_chance(chance: float) -> None:
    if not 0.0 < chance < 1.0:
        raise ValueError(f"the chance must be between 0 and 1, got {chance:g}")


def _winds(wind_mps: Sequence[float] | None) -> Floats:
    table = [knots * MPS_PER_KNOT for knots in WINDS_KN]
    return np.array(table if wind_mps is None else wind_mps, dtype=float)


def _anchors(draws: Draws) -> dict[str, object]:
    """Return the coordinates of anchors: labels, design, form and mass."""
    words = {name: ("anchor", draws.anchors[name].to_numpy(dtype=str)) for name in ("design", "form")}
    mass = ("anchor", draws.anchors["mass_kg"].to_numpy(dtype=float))
    return {"anchor": draws.labels("anchor"), **words, "mass_kg": mass}


def _given(values: dict[str, float | None]) -> dict[str, object]:
    return {name: value for name, value in values.items() if value is not None}


def _chances(
    draws: Draws, places: list[str], tension_n: Floats, chance: float, geometry: Geometry
) -> tuple[Floats, Floats, Floats]:
    """Return chances (anchor, seabed, load), loads that one pull reaches, capacity (…, quantile)."""
    pulls = _pulls(draws, places, geometry)
    capacity = [
        [band_of(np.exp(on_rode(draws, row, geometry)), BAND_90) for row in pull.capacity] for pull in pulls
    ]
    return (
        np.stack([pull.chances(tension_n) for pull in pulls], axis=1),
        np.stack([pull.quantiles_n((1.0 - chance,))[:, 0] for pull in pulls], axis=1),
        np.stack(capacity, axis=1),
    )


def _pulls(draws: Draws, places: list[str], geometry: Geometry) -> list[NewPull]:
    """Return one new pull of each of the fit's anchors in each of some seabeds."""
    anchors = [known_anchor(draws, label) for label in draws.labels("anchor")]

    def pull(label: str) -> NewPull:
        # Asked for twice: for the boat's winds, and for the lightest anchor that holds.
        name = f"new pulls in {label}, scope {geometry.scope}, seed {draws.seed}"
        return draws.once(name, lambda: new_pull(draws, anchors, known_seabed(draws, label), geometry))

    return [pull(label) for label in places]


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
        Horizontal load [N].

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
    scaled = mass_for_load(
        fit, load_n, seabeds=seabeds, chances=(chance,), scope=scope, seed=seed, of=("new_pull",)
    )
    scaled = scaled.isel(chance=0, drop=True)
    draws = draws_of(fit, seed)
    places = [str(label) for label in scaled["seabed"].to_numpy()]
    geometry = straight(scope)
    tension_n = np.array([load_n]) * tension_factor(geometry)
    exceeds = np.stack([pull.chances(tension_n) for pull in _pulls(draws, places, geometry)], axis=1)
    designs = [str(label) for label in scaled["shape"].to_numpy()]
    names = np.full((len(designs), len(places)), "", dtype=object)
    masses = np.full((len(designs), len(places)), np.inf)
    for i, anchor in enumerate(draws.labels("anchor")):
        d, mass = designs.index(str(draws.anchors["design"].iloc[i])), float(draws.anchors["mass_kg"].iloc[i])
        for j in np.flatnonzero((exceeds[i, :, 0] >= chance) & (mass < masses[d])):
            names[d, j], masses[d, j] = anchor, mass
    dims = ("design", "seabed")
    return xr.Dataset(
        {
            "tested_anchor": (dims, names.astype(str), about("1", "lightest listed anchor that holds it")),
            "tested_kg": (dims, masses, about("kg", "its mass")),
            "scaled_kg": (dims, scaled["mass_new_pull_kg"].to_numpy(), about("kg", "mass scaled by the fit")),
            "times_largest": (
                dims,
                scaled["times_largest_new_pull"].to_numpy(),
                about("1", "of largest tested"),
            ),
        },
        {"design": designs, "seabed": places},
        {**scaled.attrs, "chance": chance},
    )

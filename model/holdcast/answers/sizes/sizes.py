"""Capacity against mass for designs and forms, the exponent behind it, and the mass that holds a load."""

from collections.abc import Sequence
from typing import Literal

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.anchors import AnchorDraws
from holdcast.answers.draws.bands import BANDS, band_of
from holdcast.answers.draws.capacity import log_without_size
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import Draws, Floats, draws_of
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.draws.rode import Geometry, log_needed, straight, tension_factor
from holdcast.answers.draws.seabeds import SeabedDraws, known_seabed
from holdcast.answers.draws.tested_range import largest_tested_mass_kg
from holdcast.answers.sizes.new_pull_masses import masses_of_new_pull
from holdcast.answers.sizes.one_shape import (
    any_size_of_design,
    log_capacity_at,
    mass_reaching,
    quantile_of_mass,
    shapes_and_limits,
)
from holdcast.capacity import Fit

__all__ = ["CHANCES", "equal_mass", "mass_for_load", "sizes"]

CHANCES = (0.5, 0.8, 0.95)
"""Chances of holding for which a mass is given."""
_MASSES = 17
_STEP = 1e-3
"""Step of the log mass for the slope; the curve's own bends are a thousand times wider."""


def sizes(
    fit: Fit,
    *,
    designs: Sequence[str] | None = None,
    forms: Sequence[str] = (),
    seabeds: Sequence[str] | None = None,
    mass_kg: Sequence[float] | None = None,
    seed: int | None = None,
) -> xr.Dataset:
    """Return capacity and its effective exponent against mass.

    Parameters
    ----------
    fit : Fit
    designs, forms : sequences of str
        Designs (all by default) and forms (a new design of that form); together they are the shapes.
    seabeds : sequence of str, optional
        All by default.
    mass_kg : sequence of float, optional
        Shown once each and in order; by default from half the smallest to four times the largest tested mass.
    seed : int, optional
        Of the configurations and new designs drawn; the fit's own by default.

    Returns
    -------
    Dataset, dims (shape, seabed, mass_kg, quantile)
        ``capacity_n`` [N]; ``exponent`` d log capacity / d log mass [1]; ``times_largest``,
        ``times_smallest``, dims (shape, mass_kg): mass over the largest and smallest tested one of that
        shape; ``range``; ``tested`` (shape, seabed): whether a pull of any of its sizes was used there.

    Raises
    ------
    KeyError
        For an unknown design, form or seabed.

    Notes
    -----
    The shape and the tip's share of the mass are kept (geometric similarity).
    """
    draws = draws_of(fit, seed)
    shapes, limits = shapes_and_limits(draws, designs, forms)
    places = draws.labels("seabed", seabeds)
    grid = _grid(draws, mass_kg)
    capacity = np.empty((len(shapes), len(places), len(grid), len(BANDS)))
    exponent = np.empty_like(capacity)
    for i, shape in enumerate(shapes.values()):
        for j, label in enumerate(places):
            log_capacity, slope = _curve(draws, shape, label, grid)
            capacity[i, j], exponent[i, j] = band_of(np.exp(log_capacity)), band_of(slope)
    coords = {
        **{"shape": list(shapes), "seabed": places, "mass_kg": grid, "quantile": list(BANDS)},
        "soil": ("seabed", draws.seabeds["soil"].reindex(places).to_numpy(dtype=str)),
    }
    dims = ("shape", "seabed", "mass_kg", "quantile")
    curves = {
        "capacity_n": (dims, capacity, about("N", "capacity of a new size")),
        "exponent": (dims, exponent, about("1", "effective exponent of capacity with mass")),
    }
    here = {
        "tested": (
            ("shape", "seabed"),
            _pulled(draws, list(shapes), places),
            about("1", "whether pulled there"),
        )
    }
    return xr.Dataset(curves | here | _reach(grid, limits), coords, provenance(fit, draws.seed))


def _pulled(draws: Draws, shapes: Sequence[str], places: Sequence[str]) -> NDArray[np.bool_]:
    """Return whether a pull of any anchor of a shape was used in a seabed, dims (shape, seabed)."""
    tested = counts(draws)["tested"].sel(seabed=list(places)).transpose("anchor", "seabed").to_numpy()
    of_shape = draws.anchors["design"].to_numpy(), ("any " + draws.anchors["form"]).to_numpy()
    return np.array(
        [[tested[np.any([names == shape for names in of_shape], axis=0)].any(axis=0)] for shape in shapes]
    )[:, 0]


def _reach(grid: Floats, limits: list[tuple[float, float]]) -> dict[str, object]:
    """Return how far each mass lies from the tested ones of each shape, dims (shape, mass_kg)."""
    smallest, largest = (column[:, None] for column in np.array(limits, dtype=float).T)
    above, below, dims = grid / largest, grid / smallest, ("shape", "mass_kg")
    words = np.where((above > 1.0 + 1e-9) | (below < 1.0 - 1e-9), "outside", "inside")
    return {
        "times_largest": (dims, above, about("1", "of largest tested")),
        "times_smallest": (dims, below, about("1", "of smallest tested")),
        "range": (dims, words.astype(str), about("1", "of tested masses")),
    }


def mass_for_load(  # noqa: PLR0913  what is asked of a load
    fit: Fit,
    load_n: float,
    *,
    designs: Sequence[str] | None = None,
    forms: Sequence[str] = (),
    seabeds: Sequence[str] | None = None,
    chances: Sequence[float] = CHANCES,
    scope: float | None = None,
    seed: int | None = None,
    of: Sequence[Literal["new_pull", "capacity"]] = ("new_pull", "capacity"),
) -> xr.Dataset:
    """Return the mass that holds a load with given chances.

    Parameters
    ----------
    fit, designs, forms, seabeds, seed
        As in :func:`sizes`.
    load_n : float
        Horizontal load [N], above 0; the tension along a straight rode is larger by 1 / cos of its angle.
    chances : sequence of float
        Between 0 and 1.
    scope : float, optional
        Of a rode pulled straight; without it the pull is along the bottom.
    of : sequence of {"new_pull", "capacity"}
        Which masses; both by default.

    Returns
    -------
    Dataset, dims (shape, seabed, chance)
        ``mass_new_pull_kg``: one new pull holds the load with that chance; ``mass_capacity_kg``: the capacity
        is at least the load with that chance.  Infinite where no mass up to 100 times the largest tested is
        enough. ``times_largest_new_pull`` and ``times_largest_capacity``: over the largest tested mass of
        that shape.

    Raises
    ------
    KeyError
        For an unknown design, form or seabed.
    ValueError
        When the load is not above 0 or a chance not between 0 and 1.
    """
    if not (np.isfinite(load_n) and load_n > 0.0):
        raise ValueError(f"the load must be above 0 N, got {load_n:g}")
    if not all(0.0 < chance < 1.0 for chance in chances):
        raise ValueError(f"a chance must be between 0 and 1, got {', '.join(map(str, chances))}")
    draws = draws_of(fit, seed)
    geometry = straight(scope)
    tension_n = float(load_n * tension_factor(geometry))
    shapes, limits = shapes_and_limits(draws, designs, forms)
    places = draws.labels("seabed", seabeds)
    seabeds_drawn = [known_seabed(draws, label) for label in places]
    cells = [(shape, seabed) for shape in shapes.values() for seabed in seabeds_drawn]
    ways = {"new_pull": masses_of_new_pull, "capacity": _masses_of_capacity}
    masses = {
        what: ways[what](draws, cells, tension_n, geometry, chances).reshape(len(shapes), len(places), -1)
        for what in of
    }
    dims = ("shape", "seabed", "chance")
    largest = np.array(list(limits))[:, 1][:, None, None]
    data = {}
    for what, mass in masses.items():
        data[f"mass_{what}_kg"] = (dims, mass, about("kg", f"mass whose {what} holds the load"))
        data[f"times_largest_{what}"] = (dims, mass / largest, about("1", "of largest tested"))
    coords = {"shape": list(shapes), "seabed": places, "chance": list(chances)}
    return xr.Dataset(data, coords, {**provenance(fit, draws.seed), "load_n": load_n})


def equal_mass(
    fit: Fit,
    design: str,
    mass_kg: float,
    *,
    others: Sequence[str] | None = None,
    seabeds: Sequence[str] | None = None,
    seed: int | None = None,
) -> xr.Dataset:
    """Return what mass of other designs has the capacity of one design at a mass.

    Parameters
    ----------
    fit, seabeds, seed
        As in :func:`sizes`.
    design, mass_kg : str, float
        The design and mass to be equalled [kg].
    others : sequence of str, optional
        Designs that are to equal it; all others by default.

    Returns
    -------
    Dataset, dims (shape, seabed, quantile)
        ``mass_kg`` [kg], equal-tailed quantiles; infinite where a draw needs more than 100 times the largest
        tested mass.  ``times_largest``: over the largest tested mass of that design.

    Raises
    ------
    KeyError
        For an unknown design or seabed.
    ValueError
        When the mass is not above 0.
    """
    if not (np.isfinite(mass_kg) and mass_kg > 0.0):
        raise ValueError(f"the mass must be above 0 kg, got {mass_kg:g}")
    draws = draws_of(fit, seed)
    reference = any_size_of_design(draws, design)
    all_others = [other for other in dict.fromkeys(draws.anchors["design"]) if other != design]
    shapes, limits = shapes_and_limits(draws, all_others if others is None else others, ())
    places = draws.labels("seabed", seabeds)
    masses = np.empty((len(shapes), len(places), len(BANDS)))
    for j, label in enumerate(places):
        seabed = known_seabed(draws, label)
        target = log_capacity_at(draws, reference, seabed, np.array([mass_kg]))[0]
        for i, shape in enumerate(shapes.values()):
            masses[i, j] = quantile_of_mass(mass_reaching(draws, shape, seabed, target), list(BANDS))
    dims = ("shape", "seabed", "quantile")
    largest = np.array(list(limits))[:, 1][:, None, None]
    return xr.Dataset(
        {
            "mass_kg": (dims, masses, about("kg", f"mass equal to {mass_kg:g} kg of {design}")),
            "times_largest": (dims, masses / largest, about("1", "of largest tested")),
        },
        {"shape": list(shapes), "seabed": places, "quantile": list(BANDS)},
        {**provenance(fit, draws.seed), "design": design, "reference_mass_kg": mass_kg},
    )


def _masses_of_capacity(
    draws: Draws,
    cells: Sequence[tuple[AnchorDraws, SeabedDraws]],
    tension_n: float,
    geometry: Geometry,
    chances: Sequence[float],
) -> Floats:
    """Return the masses whose capacity is at least a load with each chance [kg], shape (cell, chance)."""
    log_tension = np.full(draws.samples, np.log(tension_n))
    needed = log_needed(log_tension, draws["strength_of_fall"], geometry)
    return np.stack([quantile_of_mass(mass_reaching(draws, *cell, needed), list(chances)) for cell in cells])


def _curve(draws: Draws, shape: AnchorDraws, label: str, grid: Floats) -> tuple[Floats, Floats]:
    """Return draws of log capacity and of its slope with log mass, each of shape (mass, sample)."""
    seabed = known_seabed(draws, label)
    base = log_without_size(draws, shape, seabed)
    above, below = (
        log_capacity_at(draws, shape, seabed, grid * np.exp(step), base=base) for step in (_STEP, -_STEP)
    )
    return log_capacity_at(draws, shape, seabed, grid, base=base), (above - below) / (2.0 * _STEP)


def _grid(draws: Draws, mass_kg: Sequence[float] | None) -> Floats:
    if mass_kg is None:
        smallest = float(draws.tested_anchors["mass_kg"].min())
        return np.geomspace(0.5 * smallest, 4.0 * largest_tested_mass_kg(draws), _MASSES)
    grid = np.asarray(mass_kg, dtype=float)
    if grid.size == 0 or not (np.isfinite(grid) & (grid > 0.0)).all():
        raise ValueError(f"masses must be above 0 kg, got {', '.join(map(str, mass_kg))}")
    return np.unique(grid)

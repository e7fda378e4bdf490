"""The heart of every question about size, place and load: draws of log capacity of any anchor in any seabed.

The functions of size, area and penetration are those that the model itself is built from.
"""

import numpy as np
from numpy.typing import NDArray

from holdcast.answers.draws.anchors import AnchorDraws
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.seabeds import SeabedDraws, effect_in, steep_gain
from holdcast.physics.ground.penetration import log_penetration_factor
from holdcast.physics.size import REFERENCE_MASS_KG, log_size_factor

__all__ = ["log_capacity", "log_entry", "log_without_size", "size_part"]

_EVERY = slice(None)


def log_capacity(draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws) -> Floats:
    """Return draws of log capacity [log N], shape (sample,).

    Parameters
    ----------
    draws : Draws
    anchor, seabed : AnchorDraws, SeabedDraws
        Draws or new.

    Returns
    -------
    array, shape (sample,)
        For a known anchor in a known seabed the posterior's own log capacity.
    """
    if anchor.at is not None and seabed.at is not None:
        return draws["log_capacity"][:, anchor.at, seabed.at]
    return log_without_size(draws, anchor, seabed) + size_part(draws, anchor, seabed, anchor.mass_kg)


def log_without_size(draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws) -> Floats:
    """Return all of the log capacity that is the same for every size of one shape, shape (sample,)."""
    total = seabed.ground + draws["area_exponent"] * anchor.log_area_excess
    if anchor.fluke_angle_steps:
        total = total + anchor.fluke_angle_steps * steep_gain(draws, seabed)
    for effect in (anchor.configuration, *anchor.effects):
        total = total + effect.amount * effect_in(draws, effect, seabed)
    return total


def size_part(
    draws: Draws,
    anchor: AnchorDraws,
    seabed: SeabedDraws,
    mass_kg: Floats | float,
    at: slice | NDArray[np.int64] = _EVERY,
) -> Floats:
    """Return what mass and tip load do at a mass, the shape and the tip's share of the mass kept.

    Parameters
    ----------
    draws, anchor, seabed
        As in :func:`log_capacity`.
    mass_kg : number or array
        Mass [kg]; broadcasts with (sample,).
    at : slice or array of int
        Which draws; all by default.
    """
    log_mass = np.log(np.asarray(mass_kg) / REFERENCE_MASS_KG)
    exponent = draws["size_exponent"][at] + seabed.exponent_deviation[at]
    entry = log_entry(draws, anchor, seabed, mass_kg, at)
    return np.asarray(log_size_factor(log_mass, exponent) + entry, dtype=float)


def log_entry(
    draws: Draws,
    anchor: AnchorDraws,
    seabed: SeabedDraws,
    mass_kg: Floats | float,
    at: slice | NDArray[np.int64] = _EVERY,
) -> Floats:
    """Return the log of what penetration leaves of the capacity at a mass [1], at most 0; see `size_part`."""
    return np.asarray(
        log_penetration_factor(
            anchor.log_tip_load[at] + np.log(np.asarray(mass_kg) / anchor.mass_kg),
            np.log(np.asarray(mass_kg) / REFERENCE_MASS_KG),
            seabed.log_resistance[at],
            draws["penetration_steepness"][at],
            draws["tip_growth"][at],
        )
    )

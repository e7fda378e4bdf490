"""The heart of every question about size, place and load: draws of log capacity of any anchor in any seabed.

The functions of size, area and penetration are those that the model itself is built from.
"""

import numpy as np

from holdcast.answers.draws.anchors import AnchorDraws
from holdcast.answers.draws.known import Floats, Known, normals
from holdcast.answers.draws.seabeds import SeabedDraws, effect_in
from holdcast.capacity.likelihood.kinds import DEGREES_OF_FREEDOM
from holdcast.physics.ground.penetration import log_penetration_factor
from holdcast.physics.size import REFERENCE_MASS_KG, log_size_factor

__all__ = ["log_capacity", "log_new_pull", "log_without_size", "size_part"]


def log_capacity(facts: Known, anchor: AnchorDraws, seabed: SeabedDraws) -> Floats:
    """Return draws of log capacity [log N], shape (sample,).

    Parameters
    ----------
    facts : Known
        What the fit knows.
    anchor, seabed : AnchorDraws, SeabedDraws
        Known or new.

    Returns
    -------
    array, shape (sample,)
        For a known anchor in a known seabed the posterior's own log capacity.
    """
    return log_without_size(facts, anchor, seabed) + size_part(facts, anchor, seabed, anchor.mass_kg)


def log_without_size(facts: Known, anchor: AnchorDraws, seabed: SeabedDraws) -> Floats:
    """Return all of the log capacity that is the same for every size of one shape, shape (sample,)."""
    total = seabed.ground + facts.draws["area_exponent"] * anchor.log_area_excess
    for effect in (anchor.configuration, *anchor.effects):
        total = total + effect.amount * effect_in(facts, effect, seabed)
    return total


def size_part(facts: Known, anchor: AnchorDraws, seabed: SeabedDraws, mass_kg: Floats | float) -> Floats:
    """Return what mass and tip load do at a mass, the shape and the tip's share of the mass kept.

    Parameters
    ----------
    facts, anchor, seabed
        As in :func:`log_capacity`.
    mass_kg : number or array
        Mass [kg]; broadcasts with (sample,).
    """
    log_mass = np.log(np.asarray(mass_kg) / REFERENCE_MASS_KG)
    tip = anchor.log_tip_load + np.log(np.asarray(mass_kg) / anchor.mass_kg)
    exponent = facts.draws["size_exponent"] + seabed.exponent_deviation
    penetration = log_penetration_factor(
        tip,
        log_mass,
        seabed.log_resistance,
        facts.draws["penetration_steepness"],
        facts.draws["tip_growth"],
    )
    return np.asarray(log_size_factor(log_mass, exponent) + penetration, dtype=float)


def log_new_pull(facts: Known, capacity: Floats, anchor: AnchorDraws, seabed: SeabedDraws) -> Floats:
    """Return draws of the log load of one pull on a new visit, shape of `capacity`: (sample,).

    The visit's effect and the pull's scatter (Student t, 4 degrees of freedom) are drawn for this cell alone.
    """
    key = (anchor.label, seabed.label)
    visit = facts.draws["visit_spread"] * normals(facts, "visit", *key)
    four = normals(facts, "pull", *key, columns=1 + int(DEGREES_OF_FREEDOM))
    # A normal over the root of a mean of squares: the definition of Student's t.
    scatter = four[:, 0] / np.sqrt((four[:, 1:] ** 2).mean(axis=1))
    return capacity + visit + seabed.pull_scatter * scatter

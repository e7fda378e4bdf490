"""From a capacity along the bottom to the load that breaks the anchor out on a given rode."""

import json
from dataclasses import dataclass

import numpy as np
import pandas as pd

from holdcast.answers.draws.draws import Draws, Floats
from holdcast.capacity import Fit
from holdcast.physics.rode.catenary import bar_tight_angle_deg
from holdcast.physics.rode.loads import load_on_rode, uplift_angle_deg
from holdcast.physics.rode.make_up import Rode, make_rode
from holdcast.physics.rode.uplift import fall_shape, log_uplift_factor
from holdcast.plain_numbers import significant

__all__ = [
    "ALONG_THE_BOTTOM",
    "Geometry",
    "beyond_tested_scopes",
    "boat_bow_height_m",
    "fall_on_rode",
    "geometry_of",
    "least_tested_scope",
    "log_needed",
    "on_rode",
    "rode_table",
    "straight",
    "tension_factor",
]

_SLACK = 0.01
"""Share of a scope that counts as the same one (a choice)."""
_LIFTED = 0.05
"""Least fall [1, 1 at 15 degrees] that tells of falls: that of some 2.5 degrees (a choice)."""


@dataclass(frozen=True)
class Geometry:
    """How the rode leads: a straight pull at a scope, a rode that sags, or neither (along the bottom).

    Attributes
    ----------
    scope : rode length over depth plus bow height [1]; NaN along the bottom.
    rode : the rode with its weight, or None for a straight pull.
    assumed : what had to be assumed, or blank.
    """

    scope: float
    rode: Rode | None
    assumed: str


ALONG_THE_BOTTOM = Geometry(np.nan, None, "")


def straight(scope: float | None) -> Geometry:
    """Return a rode pulled straight at a scope; a pull along the bottom without one.

    Raises
    ------
    PhysicsError
        When the scope is below 1.
    """
    if scope is None:
        return ALONG_THE_BOTTOM
    bar_tight_angle_deg(scope)
    return Geometry(scope, None, "")


def tension_factor(geometry: Geometry) -> float:
    """Return the tension of a straight rode over its horizontal part: 1 / cos of its angle (an identity)."""
    if np.isnan(geometry.scope):
        return 1.0
    return float(1.0 / np.cos(np.radians(bar_tight_angle_deg(geometry.scope))))


def rode_table(fit: Fit) -> pd.DataFrame:
    """Return the rodes that the fit knows, index rode; empty when it knows none."""
    if "rodes" not in fit.tree.children:
        return pd.DataFrame(columns=["chain_kg_per_m", "chain_length_m"], dtype=float)
    return fit.tree["rodes"].to_dataset().to_dataframe()


def boat_bow_height_m(fit: Fit) -> float:
    """Return the bow height of the campaign's boat [m]; 0 when it was not given."""
    boat = json.loads(str(fit.tree.attrs.get("boat", "{}")))
    return float(boat.get("bow_height_m", 0.0))


def least_tested_scope(fit: Fit) -> float | None:
    """Return the least scope [1] of the used pulls whose rode is known and was lifted; None without any."""
    inputs = fit.inputs
    lifted = np.maximum(inputs["fall_lower"], inputs["fall_upper"]) > _LIFTED
    used = inputs["trial"].to_numpy()[(inputs["rode_known"] & lifted).to_numpy()]
    pulls = fit.tree["trials"].to_dataset().to_dataframe().loc[used]
    height = pulls["depth_m"] + pulls["bow_height_m"].fillna(boat_bow_height_m(fit))
    scopes = pulls["scope"].fillna(pulls["rode_length_m"] / height)
    return None if scopes.empty else float(scopes.min())


def beyond_tested_scopes(least: float | None, scope: float) -> str:
    """Return what a scope asked for leans on where no pull was made at one as steep, or blank.

    Parameters
    ----------
    least : float, or None
        As from :func:`least_tested_scope`.
    scope : float
        Rode length over depth plus bow height [1]; NaN along the bottom.
    """
    if np.isnan(scope):
        return ""
    if least is None:
        return "no pull lifted a known rode: what a steep pull costs is the trade's usual figure"
    if scope >= least * (1.0 - _SLACK):
        return ""
    steep, pulled = significant(scope), significant(least)
    return f"scope {steep} is steeper than any tested ({pulled} or more): extrapolated"


def geometry_of(row: pd.Series, rodes: pd.DataFrame, bow_height_m: float) -> Geometry:
    """Return how the rode of one request leads.

    Parameters
    ----------
    row : Series
        ``scope``, ``rode``, ``depth_m``, ``bow_height_m``, ``chain_kg_per_m``, ``chain_length_m``; NaN or
        blank when not given.
    rodes : DataFrame
        As from :func:`rode_table`.
    bow_height_m : float
        Of the campaign's boat [m].

    Raises
    ------
    KeyError
        When the rode is not known.
    PhysicsError
        When the scope is below 1 or the geometry is impossible.
    """
    chain = {name: float(row[name]) for name in ("chain_kg_per_m", "chain_length_m")}
    if row["rode"]:
        if row["rode"] not in rodes.index:
            raise KeyError(
                f"unknown rode: {row['rode']!r}; known: {', '.join(map(repr, rodes.index)) or 'none'}"
            )
        own = rodes.loc[row["rode"]]
        chain = {name: float(own[name]) if np.isnan(value) else value for name, value in chain.items()}
    scope, depth = float(row["scope"]), float(row["depth_m"])
    # A chain of no length or no weight is no chain: rope is taken to weigh nothing, so it leads straight.
    all_rope = 0.0 in chain.values()
    heavy = not np.isnan(chain["chain_kg_per_m"]) and not all_rope
    if np.isnan(scope):
        along = "no scope given: counted as pulled along the bottom"
        return Geometry(scope, None, along if heavy or row["rode"] else "")
    bar_tight_angle_deg(scope)
    if all_rope:
        return Geometry(scope, None, "")
    if not heavy or np.isnan(depth):
        missing = "depth" if heavy else "chain"
        return Geometry(
            scope, None, f"no {missing} given: counted as pulled straight, the steepest it can be"
        )
    bow = bow_height_m if np.isnan(row["bow_height_m"]) else float(row["bow_height_m"])
    length = scope * (depth + bow)
    chain_length = np.inf if np.isnan(chain["chain_length_m"]) else chain["chain_length_m"]
    rode = make_rode(depth, length, chain["chain_kg_per_m"], chain_length, bow_height_m=bow)
    return Geometry(scope, rode, "")


def on_rode(draws: Draws, log_load: Floats, geometry: Geometry) -> Floats:
    """Return draws of the log load at the anchor that breaks it out on a rode, shape (sample,).

    Parameters
    ----------
    draws : Draws
        Its strength of fall with the uplift angle is used draw by draw.
    log_load : array, shape (sample,)
        Log load for a pull along the bottom [log N].
    geometry : Geometry
    """
    if np.isnan(geometry.scope):
        return log_load
    fall = draws["strength_of_fall"]
    if geometry.rode is None:
        angle = float(bar_tight_angle_deg(geometry.scope))
        return np.asarray(log_load + log_uplift_factor(angle, fall), dtype=float)
    return np.asarray(np.log(load_on_rode(np.exp(log_load), geometry.rode, fall)), dtype=float)


def log_needed(log_load: Floats, fall: Floats, geometry: Geometry) -> Floats:
    """Return the log load along the bottom that stands for a load on a rode; :func:`on_rode` turned round.

    Parameters
    ----------
    log_load : array
        Log load at the anchor [log N].
    fall : array, shape (…, sample)
        Strength of fall with the uplift angle [1]; broadcasts with the loads.
    geometry : Geometry
    """
    if np.isnan(geometry.scope):
        return log_load
    return np.asarray(log_load + fall * fall_on_rode(log_load, geometry), dtype=float)


def fall_on_rode(log_load: Floats, geometry: Geometry) -> Floats:
    """Return what one unit of the strength of fall takes away from loads on a rode [log N], their shape."""
    if np.isnan(geometry.scope):
        return np.zeros(log_load.shape)
    if geometry.rode is None:
        angle = np.full(log_load.shape, bar_tight_angle_deg(geometry.scope))
    else:
        angle = uplift_angle_deg(np.exp(log_load), geometry.rode)
    return np.asarray(fall_shape(angle), dtype=float)

"""Loads of a rode at bow and anchor, and the uplift angle at the anchor.

Signatures (numpy; loads and the rode's fields broadcast together)::

    load_at_anchor(load_at_bow_n, rode, *, below_weight="raise")   [N]; infinity stays infinity
    uplift_angle_deg(load_at_anchor_n, rode)                       [deg]; infinity gives the straight rode
    fall_shape_log_slope(load_at_anchor_n, rode)                   d fall_shape / d log load [1]
    state_at_bow_load(load_at_bow_n, rode) -> RodeState
    state_at_anchor_load(load_at_anchor_n, rode) -> RodeState
    load_on_rode(horizontal_capacity_n, rode, strength_of_fall)    load that breaks out on this rode [N]

The unknown is one number u: the vertical force at the anchor when positive; when negative, the weight that
lies on the bottom.  The height reached rises with u, so a root is found for thousands of pulls at once.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from holdcast.physics.errors import PhysicsError, not_negative, positive
from holdcast.physics.rode.catenary import segment_distance_m, segment_rise_m
from holdcast.physics.rode.make_up import Numbers, Rode, minimum_bow_load_n, rode_weights_n
from holdcast.physics.rode.uplift import fall_shape, log_uplift_factor
from holdcast.physics.roots import root_between

__all__ = [
    "RodeState",
    "fall_shape_log_slope",
    "load_at_anchor",
    "load_on_rode",
    "state_at_anchor_load",
    "state_at_bow_load",
    "uplift_angle_deg",
]

_NEAREST = 4.0 * np.finfo(float).eps  # relative step below which a root is as near as doubles allow


@dataclass(frozen=True)
class RodeState:
    """Where a rode lies under one load; arrays of one shape.

    Attributes
    ----------
    load_at_bow_n, load_at_anchor_n, horizontal_n : tensions [N].
    uplift_angle_deg : angle of the pull at the anchor [deg]; 0 while anything lies on the bottom.
    lying_length_m, lifted_length_m : length on the bottom and above it [m].
    distance_m : anchor to bow, horizontally [m].
    """

    load_at_bow_n: Numbers
    load_at_anchor_n: Numbers
    horizontal_n: Numbers
    uplift_angle_deg: Numbers
    lying_length_m: Numbers
    lifted_length_m: Numbers
    distance_m: Numbers


def _array(values: ArrayLike) -> Numbers:
    return np.asarray(values, dtype=np.float64)


def _segments(rode: Rode, u: Numbers) -> tuple[tuple[Numbers, Numbers, Numbers, Numbers], ...]:
    """Return start force, end force, lifted length and stiffness of the chain and of the rope at `u`."""
    chain_weight, weight = rode_weights_n(rode)
    bottom, joint, top = (np.maximum(u + part, 0.0) for part in (0.0 * chain_weight, chain_weight, weight))
    chain_safe = np.where(rode.chain_weight_n_per_m > 0.0, rode.chain_weight_n_per_m, 1.0)
    chain_lifted = np.minimum((joint - bottom) / chain_safe, rode.chain_length_m)
    rope_heavy = rode.rope_weight_n_per_m > 0.0
    rope_safe = np.where(rope_heavy, rode.rope_weight_n_per_m, 1.0)
    rope_lifted = np.where(
        rope_heavy, np.minimum((top - joint) / rope_safe, rode.rope_length_m), rode.rope_length_m
    )
    return (
        (bottom, joint, chain_lifted, rode.chain_stiffness_n),
        (joint, top, rope_lifted, rode.rope_stiffness_n),
    )


def _rise(rode: Rode, u: Numbers, horizontal: Numbers) -> Numbers:
    pieces = [segment_rise_m(horizontal, *segment) for segment in _segments(rode, u)]
    return _array(pieces[0] + pieces[1])


def _root(excess: Callable[..., Numbers], low: ArrayLike, high: ArrayLike, *arguments: ArrayLike) -> Numbers:
    """Return where `excess` turns from below to above 0 between `low` and `high`, element by element.

    Where rounding leaves no turn between the ends, the end that is nearer to one is returned.
    """
    low, high, *arrays = np.broadcast_arrays(*map(_array, (low, high, *arguments)))
    at_low, at_high = excess(low, *arrays), excess(high, *arrays)
    ends = np.where(at_low >= 0.0, low, high)
    inside = (at_low < 0.0) & (at_high > 0.0)
    if not inside.any():
        return ends
    roots = ends.copy()
    roots[inside] = root_between(
        excess,
        low[inside],
        high[inside],
        tuple(array[inside] for array in arrays),
        {"xatol": 1e-12, "xrtol": _NEAREST, "fatol": 0.0, "frtol": 0.0},
    )
    return roots


def _fields(rode: Rode) -> tuple[Numbers, ...]:
    """Return the arrays of a rode in their order, so that a solver may take some of their elements."""
    return tuple(getattr(rode, field.name) for field in fields(rode))


def _state(rode: Rode, u: Numbers, horizontal: Numbers) -> RodeState:
    """Collect what follows from the solved `u` and the horizontal tension."""
    chain, rope = _segments(rode, u)
    lifted = chain[2] + rope[2]
    lying = rode.chain_length_m + rode.rope_length_m - lifted
    held_by_bottom = rode.friction * np.maximum(-u, 0.0)
    at_anchor = np.hypot(np.maximum(horizontal - held_by_bottom, 0.0), np.maximum(u, 0.0))
    distance = segment_distance_m(horizontal, *chain) + segment_distance_m(horizontal, *rope) + lying
    angle = np.degrees(np.arctan2(np.maximum(u, 0.0), horizontal))
    return RodeState(np.hypot(horizontal, rope[1]), at_anchor, horizontal, angle, lying, lifted, distance)


def state_at_bow_load(load_at_bow_n: ArrayLike, rode: Rode) -> RodeState:
    """Return how the rode lies for loads read at the bow.

    Parameters
    ----------
    load_at_bow_n : array
        Tension at the bow roller [N], finite, at least :func:`minimum_bow_load_n`.
    rode : Rode
        Geometry, broadcasting with the loads.

    Raises
    ------
    PhysicsError
        When a load is below the weight of rode that hangs from the bow: the rode cannot reach it.

    Notes
    -----
    Static catenary in still water (no current, waves or drag); weight in water all along, which neglects the
    little that hangs in air; friction acts against the pull over all that lies.  Computed.
    """
    not_negative("load_at_bow_n", load_at_bow_n, "N")
    load, least = np.broadcast_arrays(_array(load_at_bow_n), minimum_bow_load_n(rode))
    if np.any(load < least):
        worst = np.flatnonzero((load < least).ravel())[0]
        raise PhysicsError(
            f"load_at_bow_n is {load.ravel()[worst]:g}; the rode cannot reach it: it must be at least "
            f"{least.ravel()[worst]:g} N, the weight of rode that hangs from the bow"
        )
    weight = rode_weights_n(rode)[1]

    def horizontal(u: Numbers, load: Numbers, weight: Numbers) -> Numbers:
        top = np.maximum(u + weight, 0.0)
        return _array(np.sqrt(np.maximum((load - top) * (load + top), 0.0)))

    def excess(u: Numbers, load: Numbers, *parts: Numbers) -> Numbers:
        piece = Rode(*parts)
        return _rise(piece, u, horizontal(u, load, rode_weights_n(piece)[1])) - piece.height_m

    u = _root(excess, -weight, load - weight, load, *_fields(rode))
    return _state(rode, u, horizontal(u, load, weight))


def state_at_anchor_load(load_at_anchor_n: ArrayLike, rode: Rode) -> RodeState:
    """Return how the rode lies for loads at the anchor; parameters and notes as :func:`state_at_bow_load`.

    Raises
    ------
    PhysicsError
        When a load is negative or not finite.
    """
    not_negative("load_at_anchor_n", load_at_anchor_n, "N")
    weight = rode_weights_n(rode)[1]
    load = np.broadcast_arrays(_array(load_at_anchor_n), weight, rode.height_m)[0]

    def horizontal(u: Numbers, load: Numbers, friction: Numbers) -> Numbers:
        lifted = np.sqrt(np.maximum((load - u) * (load + u), 0.0))
        return _array(np.where(u > 0.0, lifted, load + friction * np.maximum(-u, 0.0)))

    def excess(u: Numbers, load: Numbers, *parts: Numbers) -> Numbers:
        piece = Rode(*parts)
        return _rise(piece, u, horizontal(u, load, piece.friction)) - piece.height_m

    u = _root(excess, -weight, load, load, *_fields(rode))
    return _state(rode, u, horizontal(u, load, rode.friction))


def load_at_anchor(
    load_at_bow_n: ArrayLike, rode: Rode, *, below_weight: Literal["raise", "zero"] = "raise"
) -> Numbers:
    """Return the load at the anchor for loads read at the bow [N].

    Parameters
    ----------
    load_at_bow_n : array
        Tension at the bow [N]; infinity (never let go) stays infinity.
    rode : Rode
        Geometry, broadcasting with the loads.
    below_weight : {"raise", "zero"}
        What a load below the hanging weight does: an error, or no load at the anchor.

    Raises
    ------
    PhysicsError
        See :func:`state_at_bow_load`.

    Notes
    -----
    The rode's weight, angle and friction on the bottom are taken off; never falls with the load (computed).
    """
    load, least = np.broadcast_arrays(_array(load_at_bow_n), minimum_bow_load_n(rode))
    solvable = np.where(np.isposinf(load), least, load)
    lost = (
        (solvable < least) & (solvable >= 0.0) if below_weight == "zero" else np.zeros(load.shape, dtype=bool)
    )
    state = state_at_bow_load(np.where(lost, least, solvable), rode)
    return np.where(np.isposinf(load), np.inf, np.where(lost, 0.0, state.load_at_anchor_n))


def uplift_angle_deg(load_at_anchor_n: ArrayLike, rode: Rode) -> Numbers:
    """Return the angle of the pull at the anchor above the bottom [deg], never falling with the load.

    Parameters
    ----------
    load_at_anchor_n : array
        Load at the anchor [N]; infinity gives the straight, inextensible rode.
    rode : Rode
        Geometry, broadcasting with the loads.

    Raises
    ------
    PhysicsError
        When a load is negative.
    """
    length = rode.chain_length_m + rode.rope_length_m
    load, straight = np.broadcast_arrays(
        _array(load_at_anchor_n), np.degrees(np.arcsin(rode.height_m / length))
    )
    endless = np.isposinf(load)
    return np.where(
        endless, straight, state_at_anchor_load(np.where(endless, 1.0, load), rode).uplift_angle_deg
    )


def fall_shape_log_slope(load_at_anchor_n: ArrayLike, rode: Rode) -> Numbers:
    """Return how fast the fall with the angle grows with the load: d G(α(T)) / d log T [1].

    A load read exactly and turned to a pull along the bottom, log C = log T + c·G(α(T)), has the Jacobian
    d log C / d log T = 1 + c times this slope.  By a central difference with a relative step of 1e-5.

    Raises
    ------
    PhysicsError
        When a load is not above 0.
    """
    positive("load_at_anchor_n", load_at_anchor_n, "N")
    load, step = _array(load_at_anchor_n), 1e-5
    above, below = (fall_shape(uplift_angle_deg(load * np.exp(sign * step), rode)) for sign in (1.0, -1.0))
    return _array((above - below) / (2.0 * step))


def load_on_rode(horizontal_capacity_n: ArrayLike, rode: Rode, strength_of_fall: ArrayLike) -> Numbers:
    r"""Return the load at the anchor that breaks it out on this rode, each load at its own uplift angle.

    .. math:: \log T + c \, G(\alpha(T)) = \log C

    Parameters
    ----------
    horizontal_capacity_n : array
        C, capacity for a pull along the bottom [N], above 0.
    rode : Rode
        Geometry, broadcasting with the capacities.
    strength_of_fall : array
        c, see :mod:`holdcast.physics.rode.uplift` [1].

    Returns
    -------
    array
        T [N], at most C.

    Raises
    ------
    PhysicsError
        When a capacity is not above 0 or the strength of fall is negative.
    """
    positive("horizontal_capacity_n", horizontal_capacity_n, "N")
    not_negative("strength_of_fall", strength_of_fall, "")
    capacity, strength, _ = np.broadcast_arrays(
        _array(horizontal_capacity_n), _array(strength_of_fall), rode.height_m
    )

    def load_at(angle_deg: Numbers, capacity: Numbers, strength: Numbers) -> Numbers:
        return _array(capacity * np.exp(log_uplift_factor(angle_deg, strength)))

    # Along the curve of loads that break out, a steeper pull is a smaller one, so the rode rises higher.
    def excess(angle_deg: Numbers, capacity: Numbers, strength: Numbers, *parts: Numbers) -> Numbers:
        piece = Rode(*parts)
        load, angle = load_at(angle_deg, capacity, strength), np.radians(angle_deg)
        return _rise(piece, load * np.sin(angle), load * np.cos(angle)) - piece.height_m

    angle = _root(excess, 0.0, 90.0, capacity, strength, *_fields(rode))
    return load_at(angle, capacity, strength)

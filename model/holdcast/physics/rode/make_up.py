"""A rode of chain, rope, or chain then rope: its geometry and weights, checked.

Signatures (every argument may be an array, all broadcast together)::

    make_rode(depth_m, length_m, chain_kg_per_m, chain_length_m=inf, *, bow_height_m=0,
              rope_weight_n_per_m=0, friction=CHAIN_FRICTION, stiffness_n=(inf, inf)) -> Rode
    rode_weights_n(rode) -> (chain, all)
    minimum_bow_load_n(rode)

Its loads at bow and anchor and the uplift angle are in :mod:`holdcast.physics.rode.loads`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from holdcast.physics.errors import PhysicsError, not_negative, positive
from holdcast.physics.rode.catenary import submerged_weight_n_per_m

__all__ = ["CHAIN_FRICTION", "Numbers", "Rode", "make_rode", "minimum_bow_load_n", "rode_weights_n"]

Numbers = NDArray[np.float64]

CHAIN_FRICTION = 0.75
"""Friction of chain lying on the bottom, per weight in water [1]: mooring guides give about 0.7 sliding to
1.0 starting, in sand and mud (value from memory)."""


@dataclass(frozen=True)
class Rode:
    """Geometry and weights of a rode; arrays that broadcast together.  Build with :func:`make_rode`.

    Attributes
    ----------
    height_m : bow roller above the bottom [m].
    chain_length_m, rope_length_m : lengths, chain at the anchor end [m].
    chain_weight_n_per_m, rope_weight_n_per_m : weights in water [N/m].
    friction : of what lies on the bottom, per weight [1].
    chain_stiffness_n, rope_stiffness_n : EA [N]; infinity: inextensible.
    """

    height_m: Numbers
    chain_length_m: Numbers
    chain_weight_n_per_m: Numbers
    rope_length_m: Numbers
    rope_weight_n_per_m: Numbers
    friction: Numbers
    chain_stiffness_n: Numbers
    rope_stiffness_n: Numbers


def _array(values: ArrayLike) -> Numbers:
    return np.asarray(values, dtype=np.float64)


def make_rode(
    depth_m: ArrayLike,
    length_m: ArrayLike,
    chain_kg_per_m: ArrayLike,
    chain_length_m: ArrayLike = np.inf,
    *,
    bow_height_m: ArrayLike = 0.0,
    rope_weight_n_per_m: ArrayLike = 0.0,
    friction: ArrayLike = CHAIN_FRICTION,
    stiffness_n: tuple[ArrayLike, ArrayLike] = (np.inf, np.inf),
) -> Rode:
    """Return a checked rode: chain next to the anchor, the rest rope.

    Parameters
    ----------
    depth_m, bow_height_m : array
        Water depth and height of the bow roller above the water [m].
    length_m : array
        All of the rode let out [m]; at least depth plus bow height (a scope of 1).
    chain_kg_per_m : array
        Mass of the chain in air [kg/m]; ignored where there is no chain.
    chain_length_m : array
        Chain next to the anchor [m]; more than `length_m` (or infinity) means all chain; 0 means all rope.
    rope_weight_n_per_m : array
        Weight of rope in water [N/m]; 0 (the default) is near the truth for nylon.
    friction : array
        Of chain lying on the bottom [1].
    stiffness_n : pair of arrays
        EA of chain and of rope [N]; infinity (the default) is inextensible.

    Raises
    ------
    PhysicsError
        Negative depth, zero chain weight, scope below 1 and the like.
    """
    positive("depth_m", depth_m, "m")
    not_negative("bow_height_m", bow_height_m, "m")
    positive("length_m", length_m, "m")
    not_negative("rope_weight_n_per_m", rope_weight_n_per_m, "N/m")
    not_negative("friction", friction, "")
    height, length = np.broadcast_arrays(_array(depth_m) + _array(bow_height_m), _array(length_m))
    scope = length / height
    if np.any(scope < 1.0):
        raise PhysicsError(
            f"scope is {scope.min():g}; it must be 1 or above: the rode does not reach from bow to bottom"
        )
    not_negative("chain_length_m", np.minimum(_array(chain_length_m), 1e9), "m")
    stiffness = [_array(values) for values in stiffness_n]
    positive("stiffness_n", np.minimum(stiffness[0], 1e300), "N")
    positive("stiffness_n", np.minimum(stiffness[1], 1e300), "N")
    chain = np.minimum(_array(chain_length_m), length)
    mass = np.where(chain > 0.0, _array(chain_kg_per_m), 1.0)
    weight = np.where(chain > 0.0, submerged_weight_n_per_m(mass), 0.0)
    return Rode(
        height, chain, weight, length - chain, _array(rope_weight_n_per_m), _array(friction), *stiffness
    )


def rode_weights_n(rode: Rode) -> tuple[Numbers, Numbers]:
    """Return the weight of chain and of the whole rode [N]."""
    chain = rode.chain_weight_n_per_m * rode.chain_length_m
    return chain, chain + rode.rope_weight_n_per_m * rode.rope_length_m


def minimum_bow_load_n(rode: Rode) -> Numbers:
    """Return the weight of rode that hangs straight down from the bow, below which no bow load can be [N]."""
    rope = np.minimum(rode.height_m, rode.rope_length_m)
    return rode.rope_weight_n_per_m * rope + rode.chain_weight_n_per_m * (rode.height_m - rope)

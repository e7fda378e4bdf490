"""Hidden traits: features of designs that nobody wrote down, found by what designs have in common.

Every design has some of each trait (its score), and each seabed rewards or punishes a trait by so much (its
loading).  A design that did like others where both were pulled is taken to do like them where it was not:
so a hole is filled from designs that behave alike, whatever their form.  This is the factor-analytic model
of plant breeders' trials of varieties over sites (Smith, Cullis & Thompson 2001, *Biometrics* 57:1138, value
from memory), with designs for varieties and seabeds for sites.

Turning a trait round, with its scores and its loadings, changes nothing; nor does mixing two traits.  So
only their product means anything, and no command shows either.
"""

from collections.abc import Mapping

import pymc as pm

from holdcast.capacity.alike import alike_effects
from holdcast.capacity.blocks import effects
from holdcast.capacity.design_parts import LOADING, SCORE, TRAIT_EFFECT, Variances
from holdcast.capacity.symbols import Tensor

__all__ = ["hidden_traits"]


def hidden_traits(data: Mapping[str, Tensor], spread: Tensor, shares: Variances) -> Tensor:
    """Return what hidden traits do to log capacity, dims (design, seabed).

    Parameters
    ----------
    data : mapping of tensors
        ``alike_value`` and ``alike_vector``.
    spread : tensor
        Total spread of designs.
    shares : Variances
        Of one trait's loadings, as shares of the square of `spread`.
    """
    score = pm.Normal(SCORE, 0.0, 1.0, dims=("design", "trait"))
    scaled = effects(LOADING, spread, ("trait", "component"))
    made = alike_effects(scaled, data["alike_value"], data["alike_vector"], shares.alike, shares.own)
    loading = pm.Deterministic(LOADING, made, dims=("trait", "seabed"))
    return pm.Deterministic(TRAIT_EFFECT, score @ loading, dims=("design", "seabed"))

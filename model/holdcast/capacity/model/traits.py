"""Hidden traits: features of designs that nobody wrote down, found by what designs have in common.

Every design has some of each trait (its score), and each seabed rewards or punishes a trait by so much (its
loading).  A design that did like others where both were pulled is taken to do like them where it was not:
so a hole is filled from designs that behave alike, whatever their form.  This is the factor-analytic model
of plant breeders' trials of varieties over sites (Smith, Cullis & Thompson 2001, *Biometrics* 57:1138, value
from memory), with designs for varieties and seabeds for sites.

Turning a trait round, with its scores and its loadings, changes nothing; nor does mixing two traits.  So
only the product of scores and loadings means anything, and the covariance that loadings give two seabeds; no
command shows scores or loadings.
"""

from collections.abc import Mapping

import pymc as pm
import pytensor.tensor as pt

from holdcast.capacity.model.blocks import effects
from holdcast.capacity.model.design_parts import LOADING, TRAITS, Variances
from holdcast.capacity.symbols import Tensor

__all__ = ["trait_loadings"]


def trait_loadings(data: Mapping[str, Tensor], spread: Tensor, of: Variances) -> list[Tensor]:
    """Return each trait's loadings as shares of the spread of designs, in the basis of the kernel.

    The model gets `LOADING` [log N], dims (trait, seabed), from standard normals of its own.

    Parameters
    ----------
    data : mapping of tensors
        ``alike_value`` and ``alike_vector``.
    spread : tensor
        Total spread of designs.
    of : Variances
        Of one trait's loadings, as shares of the square of `spread`.

    Returns
    -------
    list of tensors, dim component
        Uᵀ x / `spread` of each trait's loadings x [log N], see
        :func:`holdcast.capacity.model.seabed_likeness.alike_effects`.
    """
    scaled = effects(LOADING, pt.sqrt(of.alike * data["alike_value"] + of.own), ("trait", "component"))
    pm.Deterministic(LOADING, spread * scaled @ data["alike_vector"].T, dims=("trait", "seabed"))
    return [scaled[at] for at in range(len(TRAITS))]

"""The parts that the variance of designs is shared out over, and what they are parts of."""

from collections.abc import Mapping
from typing import Any, NamedTuple

__all__ = [
    "LOADING",
    "PARTS",
    "SCORE",
    "SMOOTH_SHARE",
    "TRAITS",
    "TRAIT_EFFECT",
    "DesignVariances",
    "Quantity",
    "Variances",
    "design_variances",
    "variances_by_seabed",
]

PARTS = ("main", "alike", "own", "configuration", "configuration_seabed", "trait")
"""Parts of the variance of designs: all seabeds, alike in like seabeds, one seabed's own, what sets a
configuration (one size, one set of parts) apart from its design in all seabeds, and by seabed, and what
hidden traits do."""
TRAITS = ("first", "second")
"""Hidden traits of designs.  Two can tell three families apart.  On logs of twelve designs one does about as
well and three no better (docs/worlds.md); with more designs there may be more to tell."""
SCORE = "trait_score"
"""Name of what each design has of each trait, dims (design, trait), standard normal."""
LOADING = "trait_loading"
"""Name of what one standard deviation of a trait does in each seabed, dims (trait, seabed)."""
TRAIT_EFFECT = "trait_effect"
"""Name of what a design's traits do in each seabed, dims (design, seabed)."""
SMOOTH_SHARE = 0.5
"""Share of the variance of form, feature, trait and configuration effects by seabed that like seabeds have in
common (a choice, no source)."""
Quantity = Any
"""A number, an array, a labelled array or a tensor: whatever can be added and multiplied."""


class Variances(NamedTuple):
    """Variances of an effect over seabeds.

    Attributes
    ----------
    main, alike, own : the same in all seabeds, shared by like seabeds, one seabed's own [1].
    """

    main: Quantity
    alike: Quantity
    own: Quantity


class DesignVariances(NamedTuple):
    """Variances of a design's own effect, of what sets each of its configurations apart, and of loadings.

    A loading is what one hidden trait does in a seabed to a design that has one standard deviation of it.
    """

    design: Variances
    configuration: Variances
    trait: Variances


def variances_by_seabed(main: Quantity, by_seabed: Quantity) -> Variances:
    """Return variances of an effect, `SMOOTH_SHARE` of what goes by seabed being common to like seabeds."""
    return Variances(main, SMOOTH_SHARE * by_seabed, (1.0 - SMOOTH_SHARE) * by_seabed)


def design_variances(part: Mapping[str, Quantity]) -> DesignVariances:
    """Return variances of designs, configurations and one trait's loadings from those of the parts by name.

    Raises
    ------
    KeyError
        When a part of `PARTS` is missing.
    """
    return DesignVariances(
        Variances(part["main"], part["alike"], part["own"]),
        variances_by_seabed(part["configuration"], part["configuration_seabed"]),
        variances_by_seabed(0.0 * part["trait"], part["trait"] / len(TRAITS)),
    )

"""The parts that the variance of designs is shared out over, and what they are parts of."""

from collections.abc import Mapping
from typing import Any, NamedTuple

__all__ = ["PARTS", "SMOOTH_SHARE", "DesignVariances", "Variances", "design_variances", "variances_by_seabed"]

PARTS = ("main", "alike", "own", "configuration", "configuration_seabed")
"""Parts of the variance of designs: all seabeds, alike in like seabeds, one seabed's own, what sets a
configuration (one size, one set of parts) apart from its design in all seabeds, and by seabed."""
SMOOTH_SHARE = 0.5
"""Share of the variance of form, feature and configuration effects by seabed that like seabeds have in common
(a choice, no source)."""
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
    """Variances of a design's effect, and of what sets each of its configurations apart from it."""

    design: Variances
    configuration: Variances


def variances_by_seabed(main: Quantity, by_seabed: Quantity) -> Variances:
    """Return variances of an effect, `SMOOTH_SHARE` of what goes by seabed being common to like seabeds."""
    return Variances(main, SMOOTH_SHARE * by_seabed, (1.0 - SMOOTH_SHARE) * by_seabed)


def design_variances(part: Mapping[str, Quantity]) -> DesignVariances:
    """Return variances of designs and of configurations from those of the parts by name.

    Raises
    ------
    KeyError
        When a part of `PARTS` is missing.
    """
    return DesignVariances(
        Variances(part["main"], part["alike"], part["own"]),
        variances_by_seabed(part["configuration"], part["configuration_seabed"]),
    )

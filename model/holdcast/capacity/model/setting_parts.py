"""The parts that the variance of the chance of setting is shared out over."""

from collections.abc import Mapping
from typing import NamedTuple

from holdcast.capacity.model.design_parts import Quantity, Variances, variances_by_seabed

__all__ = ["SET_PARTS", "SetVariances", "again_variances", "set_variances", "turn_variances"]

SET_PARTS = ("seabed", "form", "form_seabed", "design", "design_seabed")
"""Parts of the variance of the log odds of setting: a seabed's own, forms and designs in all seabeds, and by
seabed."""


class SetVariances(NamedTuple):
    """Variances of log odds: of seabeds, and of forms and designs over seabeds."""

    seabed: Quantity
    form: Variances
    design: Variances


def set_variances(part: Mapping[str, Quantity]) -> SetVariances:
    """Return the variances of the log odds of setting from those of its parts by name.

    Raises
    ------
    KeyError
        When a part of `SET_PARTS` is missing.
    """
    return SetVariances(
        part["seabed"],
        variances_by_seabed(part["form"], part["form_seabed"]),
        variances_by_seabed(part["design"], part["design_seabed"]),
    )


def again_variances(total: Quantity) -> Variances:
    """Return variances of what sets digging in again apart from digging in: half of it by seabed."""
    return variances_by_seabed(0.5 * total, 0.5 * total)


def turn_variances(total: Quantity) -> Variances:
    """Return variances of what a turn costs, of forms as of designs: half each, half of it by seabed."""
    return variances_by_seabed(0.25 * total, 0.25 * total)

"""Limits of what somebody types as a number while testing, in the unit in which it is typed."""

from collections.abc import Mapping

from holdcast.campaign.columns.known_columns import TRIALS
from holdcast.physics.units import from_stored

__all__ = ["typed_numbers"]

_TYPED = (
    "held", "released", "scope", "depth", "drag", "hold", "attempts", "successes", "reversal", "veer",
    "veer_held",
)  # fmt: skip


def typed_numbers(force_unit: str, length_unit: str) -> dict[str, dict[str, bool | float | None]]:
    """Return what the reader allows of each number of a test: column of trials.csv to its limits.

    Parameters
    ----------
    force_unit, length_unit : str
        In which loads and lengths are typed: the last part of a column's name.

    Returns
    -------
    dict of str to dict
        ``whole``: whether only whole numbers are; ``above``, ``least``, ``most``: limits, None without one.

    Raises
    ------
    KeyError
        When there is no such unit.
    """
    units: Mapping[str, str] = {"force": force_unit, "length": length_unit}
    limits: dict[str, dict[str, bool | float | None]] = {}
    for column in TRIALS.columns:
        if column.name in _TYPED:
            bounds = {"above": column.above, "least": column.least, "most": column.most}
            if column.quantity in units:
                bounds = {
                    name: None
                    if bound is None
                    else from_stored(bound, column.quantity, units[column.quantity])
                    for name, bound in bounds.items()
                }
            limits[column.name] = {"whole": column.kind == "whole", **bounds}
    return limits

"""Columns of a campaign that ride along: kept in the results, used by nothing."""

from collections.abc import Mapping

from holdcast.campaign.columns import ANCHORS, INSTRUMENTS, RODES, SEABEDS, TRIALS
from holdcast.campaign.records import Campaign

__all__ = ["carried_columns"]

_ADDED = {"status"}  # columns that the reading adds


def carried_columns(campaign: Campaign) -> Mapping[str, list[str]]:
    """Return the names of columns that nothing is known of, by file; files without any are left out."""
    tables = {
        ANCHORS: campaign.anchors,
        SEABEDS: campaign.seabeds,
        TRIALS: campaign.trials,
        RODES: campaign.rodes,
        INSTRUMENTS: campaign.instruments,
    }
    carried = {
        spec.file: [
            name
            for name in map(str, table.columns)
            if not (spec.has(name) or name in _ADDED or (spec.has_flags and name.startswith("flag_")))
        ]
        for spec, table in tables.items()
    }
    return {file: names for file, names in carried.items() if names}

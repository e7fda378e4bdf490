"""Columns of a campaign that ride along: kept in the results, used by nothing."""

from collections.abc import Iterable, Mapping

from holdcast.campaign.columns.known_columns import ANCHORS, INSTRUMENTS, RODES, SEABEDS, TRIALS, FileColumns
from holdcast.campaign.records import Campaign

__all__ = ["carried_columns", "own_columns"]

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
    carried = {spec.file: own_columns(spec, map(str, table.columns)) for spec, table in tables.items()}
    return {file: names for file, names in carried.items() if names}


def own_columns(spec: FileColumns, names: Iterable[str]) -> list[str]:
    """Return which columns of a file, by stored name, are of the tester's own."""
    return [
        name
        for name in names
        if not (spec.has(name) or name in _ADDED or (spec.has_flags and name.startswith("flag_")))
    ]

"""Columns of a campaign that ride along: kept in the results, used by nothing."""

from collections.abc import Iterable, Mapping

import pandas as pd

from holdcast.campaign.columns.known_columns import ANCHORS, INSTRUMENTS, RODES, SEABEDS, TRIALS, FileColumns
from holdcast.campaign.records import Campaign

__all__ = ["carried_columns", "own_columns", "unread_columns"]

_ADDED = {"status"}  # columns that the reading adds


def _tables(campaign: Campaign) -> Mapping[FileColumns, pd.DataFrame]:
    return {
        ANCHORS: campaign.anchors,
        SEABEDS: campaign.seabeds,
        TRIALS: campaign.trials,
        RODES: campaign.rodes,
        INSTRUMENTS: campaign.instruments,
    }


def carried_columns(campaign: Campaign) -> Mapping[str, list[str]]:
    """Return the names of columns that nothing is known of, by file; files without any are left out."""
    carried = {
        spec.file: own_columns(spec, map(str, table.columns)) for spec, table in _tables(campaign).items()
    }
    return {file: names for file, names in carried.items() if names}


def unread_columns(campaign: Campaign) -> Mapping[str, list[str]]:
    """Return the known columns with filled cells that the program reads and does nothing with, by file."""
    unread = {
        spec.file: [
            column.stored_name
            for column in spec.columns
            if not column.read
            and (table[column.stored_name].notna() & (table[column.stored_name] != "")).any()
        ]
        for spec, table in _tables(campaign).items()
    }
    return {file: names for file, names in unread.items() if names}


def own_columns(spec: FileColumns, names: Iterable[str]) -> list[str]:
    """Return which columns of a file, by stored name, are of the tester's own."""
    return [
        name
        for name in names
        if not (spec.has(name) or name in _ADDED or (spec.has_flags and name.startswith("flag_")))
    ]

"""The tester's own columns, which ride along behind a table of cells."""

from typing import TYPE_CHECKING

from holdcast.campaign.columns.carried_columns import own_columns
from holdcast.campaign.columns.known_columns import ANCHORS, SEABEDS
from holdcast.capacity.log_tables import log_table

if TYPE_CHECKING:
    import pandas as pd

    from holdcast.capacity.fitting import Fit

__all__ = ["carried_of"]


def carried_of(fit: "Fit") -> "dict[str, pd.DataFrame]":
    """Return the tester's own columns of anchors and seabeds, by label."""
    tables = {kind: log_table(fit.tree, f"{kind}s") for kind in ("anchor", "seabed")}
    return {
        kind: tables[kind][own_columns(spec, map(str, tables[kind].columns))]
        for kind, spec in (("anchor", ANCHORS), ("seabed", SEABEDS))
    }

"""How many pulls each anchor has in each seabed, with the holes: counts and a table."""

import pandas as pd

from holdcast.show.text.name_order import name_order
from holdcast.show.text.plain_table import tables_side_by_side
from holdcast.show.text.text_columns import terminal_width, wrap

__all__ = ["HOLE", "pull_counts", "pull_grid_lines"]

HOLE = "."
"""What stands where nobody pulled: it will be filled by the model alone."""

_MOST_ROWS = 30


def pull_counts(anchors: pd.DataFrame, seabeds: pd.DataFrame, trials: pd.DataFrame) -> pd.DataFrame:
    """Return the number of used pulls, a row an anchor (by form and name) and a column a seabed.

    Parameters
    ----------
    anchors, seabeds, trials : DataFrame
        Of a campaign, as ``holdcast.campaign.records.Campaign`` has them.
    """
    used = trials[(trials["status"] == "used") & (trials["test"] == "pull")]
    forms = anchors["form"].astype(str)
    order = sorted(map(str, anchors.index), key=lambda name: (forms[name], name_order(name)))
    counts = pd.crosstab(used["anchor"].astype(str), used["seabed"].astype(str))
    return counts.reindex(index=order, columns=[*map(str, seabeds.index)], fill_value=0)


def pull_grid_lines(counts: pd.DataFrame, *, width: int | None = None) -> list[str]:
    """Return the counts as a table; a point where nobody pulled.

    Parameters
    ----------
    counts : DataFrame
        As from :func:`pull_counts`.
    width : int, optional
        Width of a line; by default the terminal's.
    """
    on_screen = counts.iloc[:_MOST_ROWS]
    body = [
        [str(anchor), *(str(count) if count else HOLE for count in row)]
        for anchor, row in zip(on_screen.index, on_screen.to_numpy(), strict=True)
    ]
    holes, cells = int((counts == 0).to_numpy().sum()), counts.size
    hidden = len(counts) - len(on_screen)
    more = [f"… and {hidden} anchors more: --picture FILE shows all."] if hidden > 0 else []
    without = f"{holes} of {cells} cells have none ({HOLE})." if holes else "Every cell has one."
    sentence = f"Pulls that count, by anchor and seabed. {without}"
    table = tables_side_by_side(["anchor", *map(str, counts.columns)], body, first=1, width=width)
    return [*wrap(sentence, width or terminal_width()), *table, *more]

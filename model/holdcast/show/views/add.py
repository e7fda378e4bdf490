"""What new trials change, in words and one table that fits a screen."""

from collections.abc import Mapping

import pandas as pd

from holdcast.show.text.numbers import format_load, format_share, load_unit
from holdcast.show.text.plain_table import TableRow, each_row, plain_table
from holdcast.show.text.text_columns import terminal_width, wrap

__all__ = ["add_lines", "update_sentences"]

_MOST_CELLS, _MOST_UNUSUAL = 10, 8
_SEEN_MOVE = 0.05
"""Least move of a median, in widths of its band, that is worth a row (a choice)."""


def add_lines(
    surprise: pd.DataFrame,
    moves: pd.DataFrame,
    left_out: pd.DataFrame,
    update: Mapping[str, float],
    units: str,
) -> list[str]:
    """Return what new trials change, as lines of the terminal's width.

    Parameters
    ----------
    surprise, moves, left_out : DataFrame
        See :class:`holdcast.answers.readings.added.Added`.
    update : mapping
        ``pareto_k``, ``effective_draws``, ``least_draws``, ``trusted_k``, ``trusted``, ``by_steps`` and
        ``cells_held``.
    units : {"si", "us"}
    """
    sentences = [
        _counted(surprise, left_out),
        *update_sentences(update, len(moves)),
        *_unusual(surprise, units),
    ]
    lines = [line for text in sentences for line in (*wrap(text, terminal_width()), "")]
    return [*lines, *_moves_table(moves, units)]


def update_sentences(update: Mapping[str, float], cells: int) -> list[str]:
    """Return whether the update may be relied on, and for which cells."""
    k, draws = update["pareto_k"], update["effective_draws"]
    if update["trusted"]:
        return [
            f"The update holds: it is as good as {draws:,.0f} draws, and no few of them carry it "
            f"(Pareto k {k:.2f})."
        ]
    reasons = [f"Pareto k is {k:.2f}, above {update['trusted_k']:g}"] if k > update["trusted_k"] else []
    if draws < update["least_draws"]:
        reasons.append(f"it is as good as {draws:,.0f} draws, fewer than {update['least_draws']:,.0f}")
    held = int(update["cells_held"])
    which = f"all {cells} cells" if held == cells else f"{held} of {cells} cells"
    if not held:
        which = "no cell"
    how_near = (
        "Made twice, from two halves of the draws, it agrees in"
        if update["by_steps"]
        else "The median and both ends of the band are right to about a tenth of the band's width in"
    )
    return [
        f"A REFIT IS DUE: the new rows say more than the old draws can carry ({'; '.join(reasons)}). With "
        "the rows in trials.csv, run holdcast fit.",
        f"Until then take the update as rough. {how_near} {which} (update_holds in cells.csv).",
    ]


def _counted(surprise: pd.DataFrame, left_out: pd.DataFrame) -> str:
    number = len(surprise)
    text = f"{number} new {'row counts' if number == 1 else 'rows count'}."
    if len(left_out):
        listed = "; ".join(f"{row.trial} ({row.why})" for row in each_row(left_out.head(_MOST_UNUSUAL)))
        more = len(left_out) - _MOST_UNUSUAL
        text += f" Left out: {listed}{f'; and {more} more' if more > 0 else ''}."
    return text


def _unusual(surprise: pd.DataFrame, units: str) -> list[str]:
    repeats = surprise[surprise["repeat"] == "yes"].sort_values("tail", kind="stable")
    if repeats.empty:
        return ["No reading is unusual."]
    named = [_unusual_words(row, units) for row in each_row(repeats.head(_MOST_UNUSUAL))]
    more = len(repeats) - _MOST_UNUSUAL
    return [
        f"Worth making again: {'; '.join(named)}{f'; and {more} more in surprise.csv' if more > 0 else ''}.",
        "Repeat such a pull, and look at the anchor and the ground first: weed, a stone, a bent shank, the "
        "load cell. One reading in twenty is as far out when all is as expected, so none is left out for it.",
    ]


def _unusual_words(row: TableRow, units: str) -> str:
    text = f"{row.trial}, {row.anchor} in {row.seabed} (a chance of {format_share(row.tail)} to be as far out"
    if pd.notna(row.expected_n_q50):
        low, high = (format_load(load, units) for load in (row.expected_n_q05, row.expected_n_q95))
        text += f"; {low} to {high} {load_unit(units)} was expected"
    return f"{text})"


def _moves_table(moves: pd.DataFrame, units: str) -> list[str]:
    largest = moves[(moves["moved"].abs() >= _SEEN_MOVE) | (moves["new_tests"] > 0)].head(_MOST_CELLS)
    if largest.empty:
        return ["No capacity moves by as much as a twentieth of its band."]
    rows = [_move_row(row, units) for row in each_row(largest)]
    header = ("anchor", "seabed", "new tests", f"before, {load_unit(units)}", "now", "holds")
    others = len(moves) - len(largest)
    return [
        "Capacity: median and 90% band, the most moved first",
        *plain_table(header, rows, numbers=(2,)),
        *([f"The other {others} cells are in cells.csv."] if others else []),
    ]


def _move_row(row: TableRow, units: str) -> tuple[str, ...]:
    def band(name: str) -> str:
        low, middle, high = (format_load(getattr(row, f"{name}_q{at}"), units) for at in ("05", "50", "95"))
        return f"{middle} ({low} to {high})"

    return (
        row.anchor, row.seabed, str(row.new_tests), band("before_n"), band("after_n"),
        "yes" if row.holds else "no",
    )  # fmt: skip
